package peer_test

import (
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/peer"
)

// witness records how Need ended a test, in place of the real one.
type witness struct {
	testing.TB
	skipped, failed bool
}

func (w *witness) Helper()               {}
func (w *witness) Skipf(string, ...any)  { w.skipped = true; runtime.Goexit() }
func (w *witness) Fatalf(string, ...any) { w.failed = true; runtime.Goexit() }

func TestNeed(t *testing.T) {
	tests := map[string]struct {
		ci, command            string
		found, skipped, failed bool
	}{
		"present at home":             {ci: "", command: "sh", found: true},
		"present in CI":               {ci: "1", command: "sh", found: true},
		"missing at home is a skip":   {ci: "", command: "no-such-program-here", skipped: true},
		"CI=false counts as home":     {ci: "false", command: "no-such-program-here", skipped: true},
		"missing under CI=1 fails":    {ci: "1", command: "no-such-program-here", failed: true},
		"missing under CI=true fails": {ci: "true", command: "no-such-program-here", failed: true},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Setenv("CI", tt.ci)
			w := &witness{TB: t}
			path := ""
			done := make(chan struct{})
			go func() {
				defer close(done)
				path = peer.Need(w, tt.command)
			}()
			<-done
			assert.Equal(t, tt.found, path != "")
			assert.Equal(t, tt.skipped, w.skipped)
			assert.Equal(t, tt.failed, w.failed)
		})
	}
}
