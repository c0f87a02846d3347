package crashtest_test

import (
	"errors"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
)

// volume is a small file system in memory that a test fills.
type volume struct{ dir string }

// newVolume mounts one. That wants root and the right to mount, which continuous integration must have.
func newVolume(t *testing.T, options string) volume {
	t.Helper()
	dir := t.TempDir()
	text, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "none", dir).CombinedOutput()
	if err != nil {
		if ci := os.Getenv("CI"); ci == "1" || ci == "true" {
			require.FailNow(t, "no file system can be mounted, and continuous integration must be able to", string(text))
		}
		t.Skipf("no file system can be mounted: %s", text)
	}
	t.Cleanup(func() {
		text, err := exec.Command("umount", "-l", dir).CombinedOutput()
		assert.NoError(t, err, string(text))
	})
	return volume{dir}
}

func (v volume) filler() string { return filepath.Join(v.dir, "filler") }

// fill takes all space but some bytes.
func (v volume) fill(t *testing.T, left int64) {
	t.Helper()
	file, err := os.Create(v.filler())
	require.NoError(t, err)
	size, block := int64(0), make([]byte, 4096)
	for err == nil {
		var n int
		n, err = file.Write(block)
		size += int64(n)
	}
	require.ErrorIs(t, err, syscall.ENOSPC)
	require.NoError(t, file.Truncate(max(0, size-left)))
	require.NoError(t, file.Close())
}

// occupy takes all file names but a few.
func (v volume) occupy(t *testing.T, left int) {
	t.Helper()
	require.NoError(t, os.Mkdir(v.filler(), 0o700))
	name := func(i int) string { return filepath.Join(v.filler(), fmt.Sprint(i)) }
	made := 0
	for err := error(nil); err == nil; {
		if err = os.WriteFile(name(made), nil, 0o600); err == nil {
			made++
		} else {
			require.ErrorIs(t, err, syscall.ENOSPC)
		}
	}
	for i := range min(left, made) {
		require.NoError(t, os.Remove(name(i)))
	}
}

func (v volume) free(t *testing.T) {
	t.Helper()
	require.NoError(t, os.RemoveAll(v.filler()))
}

// TestFull fills the disk of the store, that of the database alone, and the table of file names, leaving a little more
// each time. Senders are told to come later, what needs no writing is still answered, and when there is space again the
// same process goes on.
func TestFull(t *testing.T) {
	extent := notQuick(t)
	peer.Need(t, "sqlite3")
	base := newSite(t)
	for level := range extent.levels {
		left := int64(level) * 48 << 10
		t.Run(fmt.Sprintf("store, %d bytes left", left), func(t *testing.T) {
			v := newVolume(t, "size=12m")
			s := base.copied(t)
			require.NoError(t, os.CopyFS(filepath.Join(v.dir, "store"), os.DirFS(s.store())))
			require.NoError(t, os.RemoveAll(s.store()))
			require.NoError(t, os.Symlink(filepath.Join(v.dir, "store"), s.store()))
			full(t, s, func() { v.fill(t, left) }, func() { v.free(t) }, true)
		})
		t.Run(fmt.Sprintf("database, %d bytes left", left), func(t *testing.T) {
			v := newVolume(t, "size=12m")
			s := base.copied(t)
			text, err := os.ReadFile(s.database())
			require.NoError(t, err)
			aside := filepath.Join(v.dir, "afterbeam.db")
			require.NoError(t, os.WriteFile(aside, text, 0o600))
			require.NoError(t, os.Remove(s.database()))
			require.NoError(t, os.Symlink(aside, s.database()))
			full(t, s, func() { v.fill(t, left) }, func() { v.free(t) }, true)
		})
		t.Run(fmt.Sprintf("%d file names left", level), func(t *testing.T) {
			v := newVolume(t, "size=12m,nr_inodes=600")
			s := base.copied(t)
			require.NoError(t, os.CopyFS(filepath.Join(v.dir, "store"), os.DirFS(s.store())))
			require.NoError(t, os.RemoveAll(s.store()))
			require.NoError(t, os.Symlink(filepath.Join(v.dir, "store"), s.store()))
			full(t, s, func() { v.occupy(t, level) }, func() { v.free(t) }, level == 0)
		})
	}
}

// full runs a service into a full disk and out again. told says whether it must notice by itself that it is not ready: with
// a few file names left there is room for what it tries, and for a report or not, as its folder is there or not.
func full(t *testing.T, s *site, fill, free func(), told bool) {
	t.Helper()
	ledger, err := openLedger(filepath.Join(s.dir, "ledger"))
	require.NoError(t, err)
	w := newWorld(firstSeed)
	l := &load{site: s, world: w, ledger: ledger}
	p, err := s.start()
	require.NoError(t, err)
	post := func() (refused bool) {
		parcels, err := w.study()
		require.NoError(t, err)
		for _, one := range parcels {
			if !l.post(p.address, one) {
				l.queue = append(l.queue, one)
				refused = true
			}
		}
		require.Empty(t, l.faults)
		require.False(t, p.ended(), "the process lives on: %s", tail(p.err.String()))
		return refused
	}
	require.False(t, post())
	require.NoError(t, s.settled(time.Minute))
	fill()
	for begin := time.Now(); !post() && time.Since(begin) < 30*time.Second; {
	}
	require.NotEmpty(t, l.queue, "the full disk is noticed")
	stranded := handIn(t, l)
	if told {
		require.Eventually(t, func() bool {
			status, _, err := call(p.address, http.MethodGet, "/readyz", "", "", nil)
			return err == nil && status == http.StatusServiceUnavailable
		}, 5*time.Second, 50*time.Millisecond, "it is not ready")
	}
	reads(t, s, p)

	free()
	require.NoError(t, s.ready(p))
	for _, one := range l.queue {
		require.True(t, l.post(p.address, one))
	}
	if os.Rename(stranded, stranded+".part") == nil { // it was not taken yet: hand it in once more
		require.NoError(t, os.Rename(stranded+".part", stranded))
	}
	require.Eventually(t, func() bool {
		_, err := os.Stat(stranded)
		return errors.Is(err, os.ErrNotExist)
	}, 10*time.Second, pauseBetween, "the file in the watched folder is taken")
	require.Empty(t, l.faults)
	require.NoError(t, s.settled(time.Minute))
	c := newChecker(s)
	kept, err := c.kept()
	require.NoError(t, err)
	require.NoError(t, kept.err())
	read, err := c.read(w)
	require.NoError(t, err)
	require.NoError(t, read.err())
	require.NoError(t, p.stop())
	text, err := s.command("verify")
	require.NoError(t, err, text)
	require.NoError(t, ledger.file.Close())
}

// handIn puts a report into the watched folder of a service that can take none, and gives the file's name.
func handIn(t *testing.T, l *load) string {
	t.Helper()
	name := filepath.Join(l.site.spool(), "waits.dcm")
	for _, one := range l.queue {
		if one.kind == dose {
			require.NoError(t, l.drop(name, one))
			return name
		}
	}
	require.FailNow(t, "no dose report was refused")
	return ""
}

// reads asks for what needs no writing. Views of patient data are recorded before they are given, so that they have to
// wait for space.
func reads(t *testing.T, s *site, p *process) {
	t.Helper()
	accounts, err := readLedger(filepath.Join(s.dir, "ledger"))
	require.NoError(t, err)
	asked := false
	for _, a := range accounts {
		for id := range a.receipts {
			require.NoError(t, ask(p.address, http.MethodGet, "/v1/receipts/"+id, s.door, nil, nil, http.StatusOK))
			asked = true
		}
	}
	require.True(t, asked)
	require.NoError(t, ask(p.address, http.MethodGet, "/healthz", "", nil, nil, http.StatusNoContent))
	status, header, text, err := exchange(p.address, http.MethodGet, "/v1/procedures", s.eye, "", nil)
	require.NoError(t, err)
	if status != http.StatusOK {
		require.Equal(t, http.StatusServiceUnavailable, status, "%s", text)
		require.NotEmpty(t, header.Get("Retry-After"))
	}
}
