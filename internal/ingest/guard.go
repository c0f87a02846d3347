package ingest

import (
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"
)

// poison says why a job would fail the same way however often it is tried.
type poison string

// Error gives the reason.
func (p poison) Error() string { return string(p) }

func isPoison(err error) bool {
	var p poison
	return errors.As(err, &p)
}

// guarded runs work that rests on received data alone. A panic in it, or more time than the limit, is poison: the process
// and the next job go on. Work over the limit is left to end by itself; readers and estimates are bounded by the size of
// what they get.
func guarded[T any](log *slog.Logger, limit time.Duration, work func() (T, error)) (T, error) {
	type outcome struct {
		value T
		err   error
	}
	done := make(chan outcome, 1)
	go func() {
		var o outcome
		defer func() {
			if r := recover(); r != nil {
				log.Error("panic in job", "panic", fmt.Sprint(r), "stack", string(debug.Stack()))
				o.err = poison("an internal error came up")
			}
			done <- o
		}()
		o.value, o.err = work()
	}()
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case o := <-done:
		return o.value, o.err
	case <-timer.C:
		var none T
		return none, poison(fmt.Sprintf("not done within %s", limit))
	}
}
