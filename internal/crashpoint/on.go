//go:build crash

package crashpoint

import (
	"os"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
)

// Variable names the environment variable that holds "step", "step:n", the n-th time a step is reached, or
// "step:n:subject", the n-th time with that subject. It has not the prefix of the settings, which refuse what they do not
// know.
const Variable = "CRASH_AT"

var reached atomic.Int64

// Reached kills the process, as a power cut would end it, when the step is the one that Variable names.
func Reached(s Step, subject ...string) {
	step, rest, _ := strings.Cut(os.Getenv(Variable), ":")
	count, wanted, _ := strings.Cut(rest, ":")
	if step != string(s) || wanted != "" && !slices.Contains(subject, wanted) {
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
