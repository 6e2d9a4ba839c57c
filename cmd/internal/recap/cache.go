package recap

import (
	"errors"
	"sync"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify/web"
)

// pageFor is how long the season page shows the same answers: they take some
// tenths of a second of the database, and anybody may ask for it.
const pageFor = 10 * time.Minute

// Cache keeps the seasons that the page shows, and makes one at a time. The
// zero value is ready.
type Cache struct {
	mu   sync.Mutex
	made map[int]keptSeason // by year
}

type keptSeason struct {
	at  time.Time
	r   web.Season
	err error // not found, or nil
}

// Get returns the kept season or makes it; what failed for another reason than
// that there is none is not kept.
func (c *Cache) Get(now time.Time, year int, make1 func() (web.Season, error)) (web.Season, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if x, ok := c.made[year]; ok && now.Sub(x.at) < pageFor {
		return x.r, x.err
	}
	for old, x := range c.made {
		if now.Sub(x.at) >= pageFor { // bounded by what is asked within the time
			delete(c.made, old)
		}
	}

	r, err := make1()
	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return r, err
	}

	if c.made == nil {
		c.made = map[int]keptSeason{}
	}
	if len(c.made) < 500 {
		c.made[year] = keptSeason{now, r, err}
	}
	return r, err
}
