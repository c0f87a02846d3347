package peer

import (
	"fmt"
	"io"
	"maps"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Archive is DCMTK's archive, dcmqrscp, with some files in it.
type Archive struct {
	// Title is how it is called; it sends to DoorTitle at Door, host:port on this machine.
	Title, DoorTitle, Door string
	// Studies is the most it takes.
	Studies int
	// Files are what it has, by name.
	Files map[string][]byte
	// Log is what it writes to, nil for nowhere.
	Log io.Writer
}

// Run starts the archive and gives its address and the folder of its files, named as in Files. It ends with the test.
func (a Archive) Run(t testing.TB) (address, area string) {
	t.Helper()
	program, index := Need(t, "dcmqrscp"), Need(t, "dcmqridx")
	dir := t.TempDir()
	area = filepath.Join(dir, "area")
	require.NoError(t, os.Mkdir(area, 0o700))
	arguments := []string{area}
	for _, name := range slices.Sorted(maps.Keys(a.Files)) {
		arguments = append(arguments, filepath.Join(area, name))
		require.NoError(t, os.WriteFile(filepath.Join(area, name), a.Files[name], 0o600))
	}
	out, err := exec.CommandContext(t.Context(), index, arguments...).CombinedOutput()
	require.NoError(t, err, string(out))
	address = Unused(t)
	cfg := filepath.Join(dir, "archive.cfg")
	require.NoError(t, os.WriteFile(cfg, a.settings(t, address, area), 0o600))
	run := exec.Command(program, "-c", cfg)
	run.Stdout, run.Stderr = a.Log, a.Log
	run.Env = append(os.Environ(), "TCP_NODELAY=1")       // its small writes wait for delayed acknowledgements otherwise, 40 ms for each answer
	run.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // it forks for each association: a single process ends with a broken one
	require.NoError(t, run.Start())
	t.Cleanup(func() {
		_ = syscall.Kill(-run.Process.Pid, syscall.SIGKILL)
		_ = run.Wait()
	})
	require.Eventually(t, func() bool {
		conn, err := net.Dial("tcp", address)
		if err == nil {
			_ = conn.Close()
		}
		return err == nil
	}, time.Minute, 20*time.Millisecond, "the archive did not start: %s", a.Log)
	return address, area
}

func (a Archive) settings(t testing.TB, address, area string) []byte {
	t.Helper()
	_, port, err := net.SplitHostPort(address)
	require.NoError(t, err)
	_, door, err := net.SplitHostPort(a.Door)
	require.NoError(t, err)
	return fmt.Appendf(nil, `NetworkTCPPort = %s
MaxPDUSize = 16384
MaxAssociations = 16
HostTable BEGIN
door = (%s, localhost, %s)
HostTable END
VendorTable BEGIN
VendorTable END
AETable BEGIN
%s %s RW (%d, 1024mb) ANY
AETable END
`, port, a.DoorTitle, door, a.Title, area, a.Studies)
}

// Unused gives an address on loopback that nobody listens on.
func Unused(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, l.Close())
	return l.Addr().String()
}
