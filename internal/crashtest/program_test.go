package crashtest_test

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// readyWithin is how soon a start after a kill must be ready.
const readyWithin = 10 * time.Second

// build makes the program with crash points, once for all tests.
var build = sync.OnceValues(func() (string, error) {
	if err := touchSources(); err != nil {
		return "", err
	}
	dir, err := os.MkdirTemp("", "afterbeam-crash-*")
	if err != nil {
		return "", err
	}
	out := filepath.Join(dir, "afterbeam")
	cmd := exec.Command("go", "build", "-tags", "crash", "-o", out, "afterbeam/cmd/afterbeam")
	if text, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("build the program: %w\n%s", err, text)
	}
	return out, nil
})

// touchSources looks at every source file, so that the cache of test results notices when one of them changes.
func touchSources() error {
	for _, root := range []string{"..", "../../cmd"} {
		err := filepath.WalkDir(root, func(name string, entry fs.DirEntry, err error) error {
			if err == nil && !entry.IsDir() {
				_, err = os.Stat(name)
				if errors.Is(err, fs.ErrNotExist) {
					err = nil
				}
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func TestMain(m *testing.M) {
	code := m.Run()
	if binary, err := build(); err == nil {
		_ = os.RemoveAll(filepath.Dir(binary))
	}
	os.Exit(code)
}

func binary(t *testing.T) string {
	t.Helper()
	if testing.Short() {
		t.Skip("short tests asked for")
	}
	path, err := build()
	require.NoError(t, err)
	return path
}

// site is where a service lives: its store, its spool folder and its tokens.
type site struct {
	dir                string
	door, eye          string // tokens of the service account and of the physicist
	binary             string
	prefix             []string // command before the program, such as strace
	options            []string // of serve
	readyMax, startMax time.Duration
	last               *process
}

func (s *site) store() string { return filepath.Join(s.dir, "store") }
func (s *site) spool() string { return filepath.Join(s.dir, "spool") }

// environ is all that the program gets: nothing of the environment of the tests.
func (s *site) environ(more ...string) []string {
	env := []string{
		"PATH=" + os.Getenv("PATH"), "HOME=" + s.dir, "TMPDIR=" + s.dir, "AFTERBEAM_ZONE=UTC", "AFTERBEAM_STORE_DIR=" + s.store(),
		"AFTERBEAM_HTTP_LISTEN=127.0.0.1:0", "AFTERBEAM_METRICS_LISTEN=", "AFTERBEAM_HTTP_REQUESTS_PER_SECOND=1000000",
		"AFTERBEAM_SPOOL_DIR=" + s.spool(), "AFTERBEAM_DICOM_LISTEN=127.0.0.1:0",
		"AFTERBEAM_PIPELINE_ORGAN_HISTORIES=0", // seconds of work on each case, which would hide what is looked for
	}
	return append(env, more...)
}

// command runs a sub-command of the program to its end.
func (s *site) command(arguments ...string) (string, error) {
	cmd := exec.Command(s.binary, arguments...)
	cmd.Env = s.environ()
	text, err := cmd.CombinedOutput()
	return string(text), err
}

// process is one run of the service.
type process struct {
	cmd     *exec.Cmd
	address string
	dicom   string // address on the DICOM network
	out     lockedText
	err     lockedText
	dead    chan struct{}
	state   *os.ProcessState
}

// lockedText is what a process said, for several readers.
type lockedText struct {
	mu   sync.Mutex
	text strings.Builder
}

func (l *lockedText) add(line string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.text.WriteString(line + "\n")
}

// String gives all of it.
func (l *lockedText) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// errDied tells that a process ended before it served.
var errDied = errors.New("the process ended before it served")

// launch starts the service and returns without waiting for it.
func (s *site) launch(environ ...string) (*process, <-chan string, error) {
	argv := slices.Concat(s.prefix, []string{s.binary, "serve"}, s.options)
	p := &process{cmd: exec.Command(argv[0], argv[1:]...), dead: make(chan struct{})}
	p.cmd.Env, p.cmd.Dir = s.environ(environ...), s.dir
	stdout, err := p.cmd.StdoutPipe()
	if err != nil {
		return nil, nil, err
	}
	stderr, err := p.cmd.StderrPipe()
	if err != nil {
		return nil, nil, err
	}
	if err := p.cmd.Start(); err != nil {
		return nil, nil, err
	}
	s.last = p
	serving := make(chan string, 1)
	var reading sync.WaitGroup
	reading.Go(func() { lines(stdout, p.out.add) })
	reading.Go(func() {
		lines(stderr, func(line string) {
			p.err.add(line)
			var entry struct{ Msg, Address string }
			if json.Unmarshal([]byte(line), &entry) != nil {
				return
			}
			switch entry.Msg {
			case "serving DICOM":
				p.dicom = entry.Address
			case "serving":
				serving <- entry.Address
			}
		})
	})
	go func() {
		reading.Wait()
		_ = p.cmd.Wait() // a killed process is what is wanted; the state tells
		p.state = p.cmd.ProcessState
		close(p.dead)
	}()
	return p, serving, nil
}

func lines(r io.Reader, each func(string)) {
	scanner := bufio.NewScanner(r)
	scanner.Buffer(nil, 1<<20)
	for scanner.Scan() {
		each(scanner.Text())
	}
}

// start starts the service and waits until it serves. It returns errDied with the process when that ended first.
func (s *site) start(environ ...string) (*process, error) {
	begin := time.Now()
	p, serving, err := s.launch(environ...)
	if err != nil {
		return nil, err
	}
	select {
	case p.address = <-serving:
	case <-p.dead:
		return p, errDied
	case <-time.After(readyWithin):
		p.kill()
		return p, fmt.Errorf("not serving within %v:\n%s", readyWithin, p.err.String())
	}
	s.startMax = max(s.startMax, time.Since(begin))
	return p, nil
}

// ready waits until the service says that it is ready.
func (s *site) ready(p *process) error {
	begin := time.Now()
	for time.Since(begin) < readyWithin {
		if status, _, err := call(p.address, http.MethodGet, "/readyz", "", "", nil); err == nil && status == http.StatusNoContent {
			s.readyMax = max(s.readyMax, time.Since(begin))
			return nil
		}
		select {
		case <-p.dead:
			return errDied
		case <-time.After(5 * time.Millisecond):
		}
	}
	return fmt.Errorf("not ready within %v:\n%s", readyWithin, p.err.String())
}

// kill ends the process as a power cut of its machine would, without a word, and waits.
func (p *process) kill() {
	_ = p.cmd.Process.Signal(syscall.SIGKILL) // it may have ended already
	<-p.dead
}

// stop ends the service in order.
func (p *process) stop() error {
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	select {
	case <-p.dead:
	case <-time.After(30 * time.Second):
		p.kill()
		return errors.New("the service did not stop within 30 s")
	}
	if !p.state.Success() {
		return fmt.Errorf("the service ended with %v:\n%s", p.state, p.err.String())
	}
	return nil
}

func (p *process) ended() bool {
	select {
	case <-p.dead:
		return true
	default:
		return false
	}
}

func (p *process) killed() bool {
	status, ok := p.state.Sys().(syscall.WaitStatus)
	return ok && status.Signaled() && status.Signal() == syscall.SIGKILL
}

var client = &http.Client{Timeout: 30 * time.Second}

// call makes one request and reads the whole answer.
func call(address, method, path, token, mediaType string, body []byte) (int, []byte, error) {
	status, _, text, err := exchange(address, method, path, token, mediaType, body)
	return status, text, err
}

func exchange(address, method, path, token, mediaType string, body []byte) (int, http.Header, []byte, error) {
	r, err := http.NewRequestWithContext(context.Background(), method, "http://"+address+path, strings.NewReader(string(body)))
	if err != nil {
		return 0, nil, nil, err
	}
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	if mediaType != "" {
		r.Header.Set("Content-Type", mediaType)
	}
	answer, err := client.Do(r)
	if err != nil {
		return 0, nil, nil, err
	}
	text, err := io.ReadAll(answer.Body)
	return answer.StatusCode, answer.Header, text, errors.Join(err, answer.Body.Close())
}

// ask makes a request with a JSON body and decodes the answer, which must have the status wanted.
func ask(address, method, path, token string, give, take any, want int) error {
	var body []byte
	mediaType := ""
	if give != nil {
		var err error
		if body, err = json.Marshal(give); err != nil {
			return err
		}
		mediaType = "application/json"
	}
	status, text, err := call(address, method, path, token, mediaType, body)
	if err != nil {
		return err
	}
	if status != want {
		return fmt.Errorf("%s %s: wanted %d, got %d: %s", method, path, want, status, text)
	}
	if take == nil {
		return nil
	}
	return json.Unmarshal(text, take)
}

var setupToken = regexp.MustCompile(`Bearer ([^"\s]+)`)

// emptySite gives a site without a store. What still runs at the end of the test is killed.
func emptySite(t *testing.T) *site {
	t.Helper()
	s := &site{binary: binary(t), dir: t.TempDir()}
	require.NoError(t, os.MkdirAll(s.spool(), 0o700))
	t.Cleanup(func() {
		if s.last != nil && !s.last.ended() {
			s.last.kill()
		}
	})
	return s
}

// newSite makes a store with an administrator, a service account and a physicist, and stops the service.
func newSite(t *testing.T) *site {
	t.Helper()
	s := emptySite(t)
	p, err := s.start()
	require.NoError(t, err)
	var found []string
	require.Eventually(t, func() bool {
		found = setupToken.FindStringSubmatch(p.out.String())
		return found != nil
	}, readyWithin, time.Millisecond, "a setup token is printed")
	var admin struct{ Token string }
	require.NoError(t, ask(p.address, http.MethodPost, "/v1/setup", found[1], map[string]any{"name": "admin"}, &admin, http.StatusCreated))
	token := func(name, role string) string {
		var account struct{ ID string }
		require.NoError(t, ask(p.address, http.MethodPost, "/v1/accounts", admin.Token, map[string]any{"name": name, "role": role}, &account, http.StatusCreated))
		var made struct{ Token string }
		require.NoError(t, ask(p.address, http.MethodPost, "/v1/accounts/"+account.ID+"/tokens", admin.Token,
			map[string]any{"purpose": "crash test", "days": 30}, &made, http.StatusCreated))
		return made.Token
	}
	s.door, s.eye = token("door", "service"), token("eye", "physicist")
	require.NoError(t, p.stop())
	return s
}
