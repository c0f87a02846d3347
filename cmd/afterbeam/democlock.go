package main

import (
	"cmp"
	"sync"
	"time"
)

// demoClock is the clock of the demonstration's store: that of the machine, or the year's while the year is told.
type demoClock struct {
	mu     sync.Mutex
	at     time.Time // zero for the machine's
	setAt  time.Time
	ofYear bool
	day    string // by which asks are made and age, unless the year is told; "" is demoDay
}

// now gives the time by which the store writes what happens.
func (c *demoClock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.reading()
}

func (c *demoClock) reading() time.Time {
	if !c.ofYear {
		return time.Now()
	}
	return c.at.Add(time.Since(c.setAt))
}

// today gives the day by which asks are made and age.
func (c *demoClock) today() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.ofYear {
		return cmp.Or(c.day, demoDay)
	}
	return c.reading().UTC().Format(time.DateOnly)
}

// set sets the clock to a moment of the year; it never goes back within the year.
func (c *demoClock) set(to time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if before := c.reading(); c.ofYear && to.Before(before) {
		to = before
	}
	c.at, c.setAt, c.ofYear = to, time.Now(), true
}

// reset sets the clock to that of the machine, on a day of the scenario.
func (c *demoClock) reset(day string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.ofYear, c.day = false, day
}
