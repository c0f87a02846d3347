package browsertest

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// startsWithin bounds how long the demonstration takes to assess its reports on a busy machine.
const startsWithin = 8 * time.Minute

// Demo is the demonstration's service.
type Demo struct {
	URL string
	// Passwords are those of the accounts, which are named by their roles: physicist, operator, quality, admin, auditor.
	Passwords map[string]string
}

// demonstration is the one of all tests of a package.
type demonstration struct {
	once sync.Once
	demo Demo
	dir  string
	cmd  *exec.Cmd
	err  error
}

var running demonstration //nolint:gochecknoglobals // one service for the tests of a package, ended by Main

// StartDemo gives the demonstration's service, which is built and started when a test first asks for it. Tests share it: they
// leave it as others may find it.
func StartDemo(t testing.TB) Demo {
	t.Helper()
	leaveToOthers(t)
	root := Root(t)
	running.once.Do(func() { running.err = running.start(root) })
	require.NoError(t, running.err)
	return running.demo
}

// SignInAs opens a window on the demonstration as the person of a role.
func SignInAs(t testing.TB, role string) *Window {
	t.Helper()
	d := StartDemo(t)
	w := Open(t, d.URL)
	w.SignIn(role, d.Passwords[role])
	w.NoClicks()
	return w
}

// Root is the folder of the module.
func Root(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		require.NotEqual(t, up, dir, "no go.mod above the test")
		dir = up
	}
}

func (d *demonstration) start(root string) (err error) {
	if d.dir, err = os.MkdirTemp("", "afterbeam-browser-*"); err != nil {
		return err
	}
	program := filepath.Join(d.dir, "afterbeam")
	build := exec.CommandContext(context.Background(), "go", "build", "-o", program, "./cmd/afterbeam") //nolint:gosec // our own program
	build.Dir = root
	if text, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("build: %w: %s", err, text)
	}
	d.cmd = exec.CommandContext(context.Background(), program, "demo", "--serve", "--no-year", "--out", filepath.Join(d.dir, "demo")) //nolint:gosec // our own program
	d.cmd.Env = environment()
	out, err := d.cmd.StdoutPipe()
	if err != nil {
		return err
	}
	d.cmd.Stderr = os.Stderr
	if err := d.cmd.Start(); err != nil {
		return err
	}
	ready := make(chan error, 1)
	go func() { ready <- d.demo.read(out) }()
	select {
	case err = <-ready:
	case <-time.After(startsWithin):
		err = errors.New("the demonstration did not start in time")
	}
	return err
}

// environment is the test's without what chooses among tests, which the program would refuse as a setting.
func environment() []string {
	var all []string
	for _, entry := range os.Environ() {
		if !strings.HasPrefix(entry, "AFTERBEAM_") {
			all = append(all, entry)
		}
	}
	return all
}

// read takes address and passwords from what the program prints, and lets the rest run away.
func (d *Demo) read(out io.Reader) error {
	address := regexp.MustCompile(`^pages\s+(http://\S+)`)
	account := regexp.MustCompile(`^sign in\s+(\S+)\s+(\S+)$`)
	d.Passwords = map[string]string{}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if found := address.FindStringSubmatch(lines.Text()); found != nil {
			d.URL = found[1]
		}
		if found := account.FindStringSubmatch(lines.Text()); found != nil {
			d.Passwords[found[1]] = found[2]
		}
		if strings.HasPrefix(lines.Text(), "token") && d.URL != "" {
			go func() { _, _ = io.Copy(io.Discard, out) }()
			return nil
		}
	}
	return errors.Join(errors.New("the demonstration printed no address of pages"), lines.Err())
}

// stop ends the service and its folder.
func (d *demonstration) stop() error {
	if d.cmd == nil || d.cmd.Process == nil {
		return os.RemoveAll(d.dir)
	}
	if err := d.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return errors.Join(err, os.RemoveAll(d.dir))
	}
	err := d.cmd.Wait()
	return errors.Join(err, os.RemoveAll(d.dir))
}
