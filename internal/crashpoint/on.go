//go:build crash

package crashpoint

import (
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
)

// Variable names the environment variable that holds "step" or "step:n", the n-th time a step is reached. It has not the
// prefix of the settings, which refuse what they do not know.
const Variable = "CRASH_AT"

var reached atomic.Int64

// Reached kills the process, as a power cut would end it, when the step is the one that Variable names.
func Reached(s Step) {
	step, count, _ := strings.Cut(os.Getenv(Variable), ":")
	if step != string(s) {
		return
	}
	n, err := strconv.ParseInt(count, 10, 64)
	if err != nil {
		n = 1
	}
	if reached.Add(1) >= n {
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {}
	}
}
