package democlub

import (
	"sync"
	"time"
)

// Clock is the demo's own time: it runs on with the real one from wherever
// it was last set, and is never set back.
type Clock struct {
	mu   sync.Mutex
	base time.Time
	real time.Time // zero = it stands
}

// NewClock stands at start and runs on from there.
func NewClock(start time.Time) *Clock { return &Clock{base: start, real: time.Now()} }

// Now is the time of the demo.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.time()
}

func (c *Clock) time() time.Time {
	if c.real.IsZero() {
		return c.base
	}
	return c.base.Add(time.Since(c.real))
}

// Stop stops the clock at t; later it shows the time it is set to.
func (c *Clock) Stop(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.base, c.real = t, time.Time{}
}

// Forward sets the clock to t unless it is past it.
func (c *Clock) Forward(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !t.After(c.time()) {
		return
	}
	c.base = t
	if !c.real.IsZero() {
		c.real = time.Now()
	}
}
