// Package witness is a clock that tests move, a log that they read while others write it, and tables as tests look at them. Tests
// alone use it.
package witness

import (
	"bytes"
	"sync"
	"time"
)

// Clock is a time that stands still until a test moves it.
type Clock struct {
	mu  sync.Mutex
	now time.Time
}

// At is a clock that shows a time.
func At(now time.Time) *Clock { return &Clock{now: now} }

// Now gives the time.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Pass moves the clock.
func (c *Clock) Pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// Log is what many goroutines wrote.
type Log struct {
	mu   sync.Mutex
	text bytes.Buffer
}

// Write adds to the log.
func (l *Log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

// String gives all of it.
func (l *Log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}
