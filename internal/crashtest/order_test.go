package crashtest_test

import (
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
)

// syscallEntry is one call of the system as strace saw it: the places in the trace where it began and was over.
type syscallEntry struct {
	name, text  string // with what it was called, and what it gave
	begin, over int
}

var (
	called  = regexp.MustCompile(`^(\d+) +([a-z0-9_]+)\((.*)$`)
	resumed = regexp.MustCompile(`^(\d+) +<\.\.\. ([a-z0-9_]+) resumed>(.*)$`)
)

// readTrace reads what strace -f wrote. A call that another thread interrupted stands on two lines.
func readTrace(t *testing.T, name string) []syscallEntry {
	t.Helper()
	text, err := os.ReadFile(name)
	require.NoError(t, err)
	var calls []syscallEntry
	open := map[string]int{} // thread -> its unfinished call
	for i, l := range strings.Split(string(text), "\n") {
		if m := resumed.FindStringSubmatch(l); m != nil {
			if at, known := open[m[1]]; known && calls[at].name == m[2] {
				calls[at].text += m[3]
				calls[at].over = i
				delete(open, m[1])
			}
			continue
		}
		m := called.FindStringSubmatch(l)
		if m == nil {
			continue
		}
		entry := syscallEntry{m[2], m[3], i, i}
		if head, unfinished := strings.CutSuffix(m[3], " <unfinished ...>"); unfinished {
			entry.text, entry.over = head, 1<<30
			open[m[1]] = len(calls)
		}
		calls = append(calls, entry)
	}
	return calls
}

// after finds the first call that began when a place of the trace was passed, and that has all of the parts.
func after(t *testing.T, calls []syscallEntry, place int, what string, names []string, parts ...string) syscallEntry {
	t.Helper()
	for _, c := range calls {
		if c.begin <= place || c.over == 1<<30 {
			continue
		}
		for _, name := range names {
			if c.name == name && holds(c.text, parts) {
				return c
			}
		}
	}
	require.FailNow(t, "not found in the trace", "%s: %v with %v after line %d", what, names, parts, place)
	return syscallEntry{}
}

func holds(text string, parts []string) bool {
	for _, p := range parts {
		if !strings.Contains(text, p) {
			return false
		}
	}
	return true
}

// TestOrderOfAnswer watches the system calls behind one report at each door. What must be on the disk is there before the
// next thing begins: the temporary file, its name in the store, the folder of that name, the commit with the receipt, and
// only then the answer.
func TestOrderOfAnswer(t *testing.T) {
	peer.Need(t, "strace")
	syncs, links, renames := []string{"fsync", "fdatasync"}, []string{"linkat", "link"}, []string{"renameat", "renameat2", "rename"}
	w := newWorld(firstSeed)
	parcels, err := w.study()
	require.NoError(t, err)
	var report parcel
	for _, p := range parcels {
		if p.kind == dose {
			report = p
		}
	}
	doors := map[string]struct {
		send   func(t *testing.T, s *site, p *process)
		answer []string // system calls that answer
		parts  []string
	}{
		"http": {
			func(t *testing.T, s *site, p *process) {
				status, text, err := call(p.address, http.MethodPost, "/v1/reports", s.door, "application/dicom", report.raw)
				require.NoError(t, err)
				require.Equal(t, http.StatusCreated, status, "%s", text)
			},
			[]string{"write", "writev", "sendto"},
			[]string{`"HTTP/1.1 201 `},
		},
		"folder": {
			func(t *testing.T, s *site, _ *process) {
				name := filepath.Join(s.spool(), "one.dcm")
				require.NoError(t, os.WriteFile(name+".part", report.raw, 0o600))
				require.NoError(t, os.Rename(name+".part", name))
				require.Eventually(t, func() bool {
					_, err := os.Stat(name)
					return os.IsNotExist(err)
				}, readyWithin, pauseBetween)
			},
			renames,
			[]string{`"one.dcm"`, "/spool/accepted/"},
		},
	}
	for name, door := range doors {
		t.Run(name, func(t *testing.T) {
			s := newSite(t)
			trace := filepath.Join(s.dir, "trace")
			s.prefix = []string{
				"strace", "-D", "-f", "-y", "-s", "20000", "-o", trace,
				"-e", "trace=fsync,fdatasync,link,linkat,rename,renameat,renameat2,write,writev,sendto,pwrite64",
			}
			p, err := s.start()
			require.NoError(t, err)
			door.send(t, s, p)
			p.kill()

			calls := readTrace(t, trace)
			place := filepath.Join(s.store(), "objects", report.digest[:2])
			link := after(t, calls, 0, "name in the store", links, "arrival-", report.digest+".gz", "= 0")
			temp := regexp.MustCompile(`arrival-\d+`).FindString(link.text)
			synced := after(t, calls, 0, "sync of the temporary file", syncs, temp+">", "= 0")
			assert.Less(t, synced.over, link.begin, "the temporary file is synced before it gets its name")
			folder := after(t, calls, link.over, "sync of the folder", syncs, "<"+place+">", "= 0")
			receipt := after(t, calls, folder.over, "the receipt in the log of the database", []string{"pwrite64"}, "-wal>", report.digest)
			commit := after(t, calls, receipt.over, "sync of that log", syncs, "-wal>", "= 0")
			answer := after(t, calls, 0, "the answer", door.answer, door.parts...)
			assert.Less(t, commit.over, answer.begin, "the commit is synced before the answer")
			early := receipt
			for _, c := range calls {
				if c.name == "pwrite64" && strings.Contains(c.text, "-wal>") && strings.Contains(c.text, report.digest) && c.begin < early.begin {
					early = c
				}
			}
			assert.Equal(t, receipt.begin, early.begin, "no receipt is written before the folder is synced")
		})
	}
}
