package recap

import (
	"errors"
	"sync"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify/web"
)

// recapFor is how long the season page shows the same recap: it takes some
// tenths of a second of the database, and anybody may ask for it.
const recapFor = 10 * time.Minute

type recapKey struct {
	year  int
	reach coldseam.ReachID
}

// Cache keeps the recaps that the season page shows, and makes one at a
// time. The zero value is ready.
type Cache struct {
	mu   sync.Mutex
	made map[recapKey]keptRecap
}

type keptRecap struct {
	at  time.Time
	r   web.Recap
	err error // not found, or nil
}

// Get returns the kept recap or makes it; what failed for another reason than
// that there is none is not kept.
func (c *Cache) Get(now time.Time, year int, reach coldseam.ReachID,
	make1 func() (web.Recap, error)) (web.Recap, error) {
	k := recapKey{year, reach}
	c.mu.Lock()
	defer c.mu.Unlock()
	if x, ok := c.made[k]; ok && now.Sub(x.at) < recapFor {
		return x.r, x.err
	}
	for old, x := range c.made {
		if now.Sub(x.at) >= recapFor { // bounded by what is asked within the time
			delete(c.made, old)
		}
	}

	r, err := make1()
	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return r, err
	}

	if c.made == nil {
		c.made = map[recapKey]keptRecap{}
	}
	if len(c.made) < 500 {
		c.made[k] = keptRecap{now, r, err}
	}
	return r, err
}
