package crashtest_test

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
)

// fault is what the system answers to the n-th call, n running over a range.
type fault struct {
	calls, error string
	to           int  // n runs from 1 to it
	lasting      bool // every call from the n-th on
	starting     bool // counted from the start of the program on, else from when it is ready
}

// syncs are the calls after whose failure the process must end.
const syncs = "fsync,fdatasync"

// faults gives what is injected. strace counts the calls of each thread by itself: the n-th of one thread is another
// place in every run.
func faults(last int) []fault {
	return []fault{
		{calls: syncs, error: "EIO", to: last},
		{calls: syncs, error: "EIO", to: last, lasting: true},
		{calls: syncs, error: "EIO", to: last, starting: true},
		{calls: "pwrite64", error: "ENOSPC", to: last},
		{calls: "pwrite64", error: "ENOSPC", to: last, lasting: true},
		{calls: "pwrite64", error: "EIO", to: last},
		{calls: "pwrite64", error: "EIO", to: last, starting: true},
		{calls: "linkat", error: "ENOSPC", to: 2},
		{calls: "linkat", error: "EIO", to: 1, lasting: true},
		{calls: "ftruncate", error: "EIO", to: 1, lasting: true, starting: true},
		{calls: "unlinkat", error: "EIO", to: 2},
		{calls: "openat", error: "EMFILE", to: last, lasting: true},
	}
}

func (f fault) strace(n int, trace string) []string {
	when := fmt.Sprint(n)
	if f.lasting {
		when += "+"
	}
	return []string{"strace", "-f", "-y", "-o", trace, "-e", "trace=" + f.calls, "-e", "inject=" + f.calls + ":error=" + f.error + ":when=" + when}
}

// TestFailingCalls lets system calls of the whole process fail. What was answered with success is there after a clean start
// whatever failed; what was not acknowledged can be sent again; a failed sync ends the process with a word about it.
func TestFailingCalls(t *testing.T) {
	extent := notQuick(t)
	peer.Need(t, "strace")
	peer.Need(t, "sqlite3")
	base := newSite(t)
	hits, ends, answers := 0, 0, 0
	for _, f := range faults(extent.faults) {
		for n := 1; n <= f.to; n++ {
			name := fmt.Sprintf("%s %s %d lasting %t starting %t", f.calls, f.error, n, f.lasting, f.starting)
			ok := t.Run(name, func(t *testing.T) {
				r := newFaulty(t, base, firstSeed+uint64(n))
				r.fail(t, f, n)
				r.again(t)
				hits += r.hits
				answers += r.load.answers
				if r.died {
					ends++
				}
			})
			if !ok {
				return
			}
		}
	}
	t.Logf("%d calls failed; %d answers came meanwhile; %d processes ended by themselves", hits, answers, ends)
}

// faulty is one run with faults on a copy of a store.
type faulty struct {
	site    *site
	world   *world
	parcels []parcel
	load    *load
	trace   string
	hits    int  // calls that failed
	died    bool // the process ended by itself
}

func newFaulty(t *testing.T, base *site, seed uint64) *faulty {
	t.Helper()
	s := base.copied(t)
	r := &faulty{site: s, world: newWorld(seed), trace: filepath.Join(s.dir, "trace")}
	for range 2 {
		more, err := r.world.study()
		require.NoError(t, err)
		r.parcels = append(r.parcels, more...)
	}
	ledger, err := openLedger(filepath.Join(s.dir, "ledger"))
	require.NoError(t, err)
	r.load = &load{site: s, world: r.world, ledger: ledger}
	t.Cleanup(func() { assert.NoError(t, ledger.file.Close()) })
	return r
}

// fail sends reports while calls fail.
func (r *faulty) fail(t *testing.T, f fault, n int) {
	t.Helper()
	if f.starting {
		command := f.strace(n, r.trace)
		r.site.prefix = append([]string{command[0], "-D", "-qq"}, command[1:]...)
	}
	p, err := r.site.start()
	r.site.prefix = nil
	if err != nil {
		require.ErrorIs(t, err, errDied, "it serves, or it ends and says why: %s", p.err.String())
	} else {
		if !f.starting {
			attach(t, p, f.strace(n, r.trace))
		}
		for _, one := range r.parcels {
			if r.load.post(p.address, one) {
				r.load.answers++
			}
		}
		require.Empty(t, r.load.faults)
		// The pipeline meets the faults as well.
		for begin := time.Now(); time.Since(begin) < 200*time.Millisecond && !p.ended(); {
			time.Sleep(pauseBetween)
		}
	}
	r.hits = strings.Count(readText(t, r.trace), "(INJECTED)")
	if f.calls == syncs && r.hits > 0 {
		require.Eventually(t, p.ended, 5*time.Second, pauseBetween, "a failed sync ends the process")
	}
	if r.died = p.ended(); !r.died {
		p.kill()
		return
	}
	assert.NotContains(t, p.err.String(), "panic")
	assert.False(t, p.state.Success(), "it says that it failed")
	assert.Regexp(t, "storage failed|cannot open store", tail(p.err.String()), "and why")
}

// attach lets strace change the calls of a running process.
func attach(t *testing.T, p *process, command []string) {
	t.Helper()
	cmd := exec.Command(command[0], append(command[1:], "-p", fmt.Sprint(p.cmd.Process.Pid))...)
	said, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	attached, over := make(chan bool, 1), make(chan struct{})
	var text lockedText
	go func() {
		lines(said, func(line string) {
			text.add(line)
			if strings.Contains(line, " attached") {
				select {
				case attached <- true:
				default:
				}
			}
		})
		_ = cmd.Wait() // it ends with the process that it watches
		close(over)
	}()
	select {
	case <-attached:
	case <-over:
		require.FailNow(t, "strace could not attach to the program", text.String())
	}
	t.Cleanup(func() { <-over })
}

// again starts without faults, sends everything once more and compares.
func (r *faulty) again(t *testing.T) {
	t.Helper()
	p, err := r.site.start()
	require.NoError(t, err)
	require.NoError(t, r.site.ready(p))
	c := newChecker(r.site)
	kept, err := c.kept()
	require.NoError(t, err)
	require.NoError(t, kept.err(), "after the faults")
	for _, one := range r.parcels {
		require.True(t, r.load.post(p.address, one))
	}
	require.Empty(t, r.load.faults)
	require.NoError(t, r.site.settled(time.Minute))
	kept, err = c.kept()
	require.NoError(t, err)
	require.NoError(t, kept.err())
	read, err := c.read(r.world)
	require.NoError(t, err)
	require.NoError(t, read.err())
	p.kill()
	text, err := r.site.command("verify")
	require.NoError(t, err, text)
}

// copied gives a site with a copy of the store.
func (s *site) copied(t *testing.T) *site {
	t.Helper()
	other := emptySite(t)
	other.door, other.eye = s.door, s.eye
	require.NoError(t, os.CopyFS(other.store(), os.DirFS(s.store())))
	return other
}

func readText(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	if errors.Is(err, os.ErrNotExist) {
		return ""
	}
	require.NoError(t, err)
	return string(text)
}
