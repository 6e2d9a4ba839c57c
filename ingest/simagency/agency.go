package simagency

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"example.org/coldseam"
)

// DefaultNow is the demo's morning: Friday 10 April 2026, 04:30 in Zone.
func DefaultNow() time.Time { return time.Date(2026, time.April, 10, 9, 30, 0, 0, time.UTC) }

// Options of an agency. The zero value serves the demo's morning with the
// clock standing still.
type Options struct {
	Seed       uint64           // 0 = 1
	Now        func() time.Time // nil = DefaultNow, standing
	Anchor     coldseam.Date    // day of the story; zero = the civil day of the first Now
	World      *World           // a record made before, instead of Seed and Anchor
	Duplicates bool             // Tamsen has a second, non-primary thermometer 0.4 degC warmer
	Log        *slog.Logger     // nil = silent
}

// Agency serves the invented rivers. It is safe for concurrent use.
type Agency struct {
	world      *World
	faults     []Fault
	now        func() time.Time
	log        *slog.Logger
	duplicates bool
	mux        *http.ServeMux

	mu      sync.Mutex
	revised time.Time
	alive   map[int]bool
	scripts []*script
	seen    []Request
	hour    time.Time // whose requests are counted
	asked   int
	srv     *http.Server
	done    chan struct{}
	wg      sync.WaitGroup
}

// Request is one request the agency got, for tests.
type Request struct {
	Path, Query string
	Header      http.Header
	Status      int
}

// New makes the record and the handler; nothing listens yet.
func New(o Options) (*Agency, error) {
	if o.Now == nil {
		o.Now = DefaultNow
	}
	w := o.World
	if w == nil {
		zone, err := time.LoadLocation(Zone)
		if err != nil {
			return nil, fmt.Errorf("agency zone %s: %w", Zone, err)
		}
		if o.Anchor.IsZero() {
			o.Anchor = coldseam.DateOf(o.Now().In(zone))
		}
		if w, err = Generate(max(o.Seed, 1), o.Anchor); err != nil {
			return nil, err
		}
	}

	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	a := &Agency{
		world:      w,
		faults:     w.Faults(),
		now:        o.Now,
		log:        o.Log,
		duplicates: o.Duplicates,
		alive:      map[int]bool{},
		done:       make(chan struct{}),
	}
	a.routes()
	return a, nil
}

// World is the record behind the answers.
func (a *Agency) World() *World { return a.world }

// Rivers are the rivers that are served.
func (a *Agency) Rivers() []River { return Rivers() }

// Faults are the planted faults.
func (a *Agency) Faults() []Fault { return a.world.Faults() }

// Revise publishes the late revision now; by the clock alone it appears at
// World.RevisedAt.
func (a *Agency) Revise() {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.revised.IsZero() {
		a.revised = a.now()
	}
}

// revision is when the late revision was published.
func (a *Agency) revision() (time.Time, bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if !a.revised.IsZero() {
		return a.revised, true
	}
	at := a.world.RevisedAt()
	return at, !a.now().Before(at)
}

// Revive ends the silence of a gauge; its missed rows appear too.
func (a *Agency) Revive(code string) {
	if i, ok := riverByCode(a.world.rivers, code); ok {
		a.mu.Lock()
		a.alive[i] = true
		a.mu.Unlock()
	}
}

func (a *Agency) revived(i int) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.alive[i]
}

// Requests lists the requests so far, scripted ones included.
func (a *Agency) Requests() []Request {
	a.mu.Lock()
	defer a.mu.Unlock()
	return append([]Request(nil), a.seen...)
}

func (a *Agency) routes() {
	a.mux = http.NewServeMux()
	a.mux.HandleFunc("GET /ogcapi/{version}/collections/{collection}/items", a.items)
	a.mux.HandleFunc("GET /sos", a.sos)
	a.mux.HandleFunc("GET /edr/collections/metgrid", a.edrCollection)
	a.mux.HandleFunc("GET /edr/collections/metgrid/position", a.edrPosition)
	a.mux.HandleFunc("GET /edr/collections/metgrid/instances", a.edrInstances)
	a.mux.HandleFunc("GET /edr/collections/metgrid/instances/{run}/position", a.edrPosition)
	a.mux.HandleFunc("GET /alerts/index.atom", a.alertIndex)
	a.mux.HandleFunc("GET /alerts/{file}", a.alertFile)
}

// Handler answers one request: scripts first, then the agency with a strong
// ETag, 304 and gzip.
func (a *Agency) Handler() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		start := time.Now()
		status := 0
		if s, ok := a.scripted(r); ok {
			status = s.serve(w, r, a)
			if status == 0 { // the step only dresses the true answer
				status = a.answer(w, r, s)
			}
		} else {
			status = a.answer(w, r, Step{})
		}
		a.mu.Lock()
		a.seen = append(a.seen, Request{
			Path:   r.URL.Path,
			Query:  r.URL.RawQuery,
			Header: r.Header.Clone(),
			Status: status,
		})
		a.mu.Unlock()
		a.log.Debug("agency request", "path", r.URL.Path, "status", status, "dur", time.Since(start))
	})
}

// page is a response held back until its ETag is known.
type page struct {
	head   http.Header
	status int
	body   bytes.Buffer
}

func (p *page) Header() http.Header { return p.head }

func (p *page) WriteHeader(code int) {
	if p.status == 0 {
		p.status = code
	}
}

func (p *page) Write(b []byte) (int, error) {
	p.WriteHeader(http.StatusOK)
	return p.body.Write(b)
}

// hourLimit of requests, as the header says it. It is counted, not enforced.
const hourLimit = 1000

// left counts one request and returns how many are left of the hour.
func (a *Agency) left() int {
	a.mu.Lock()
	defer a.mu.Unlock()
	if h := a.now().Truncate(time.Hour); !h.Equal(a.hour) {
		a.hour, a.asked = h, 0
	}
	a.asked++
	return max(hourLimit-a.asked, 0)
}

func (a *Agency) answer(w http.ResponseWriter, r *http.Request, s Step) int {
	p := &page{head: http.Header{}}
	a.mux.ServeHTTP(p, r)
	for k, v := range p.head {
		w.Header()[k] = v
	}
	w.Header().Set("X-Ratelimit-Limit", strconv.Itoa(hourLimit))
	w.Header().Set("X-Ratelimit-Remaining", strconv.Itoa(a.left()))
	w.Header().Set("Date", a.now().UTC().Format(http.TimeFormat))

	body := p.body.Bytes()
	if p.status == http.StatusOK {
		sum := sha256.Sum256(body)
		tag := `"` + hex.EncodeToString(sum[:12]) + `"`
		w.Header().Set("Etag", tag)
		if r.Header.Get("If-None-Match") == tag {
			w.WriteHeader(http.StatusNotModified)
			return http.StatusNotModified
		}
	}

	if s.Truncate > 0 {
		return truncate(w, body, s.Truncate)
	}
	if len(body) > 1024 && strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		w.Header().Set("Content-Encoding", "gzip")
		w.WriteHeader(p.status)
		z, _ := gzip.NewWriterLevel(w, gzip.BestSpeed) // the level is valid
		_, _ = z.Write(body)                           // a client that has gone is no concern here
		_ = z.Close()
		return p.status
	}

	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(p.status)
	_, _ = w.Write(body) // as above
	return p.status
}

// Start listens on a free loopback port and returns the base URL.
func (a *Agency) Start() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", fmt.Errorf("agency listen: %w", err)
	}
	a.srv = &http.Server{Handler: a.Handler(), ReadHeaderTimeout: 5 * time.Second}
	a.wg.Add(1)
	go func() {
		defer a.wg.Done()
		if err := a.srv.Serve(l); err != nil && err != http.ErrServerClosed {
			a.log.Error("agency stopped", "err", err)
		}
	}()
	return "http://" + l.Addr().String(), nil
}

// Close ends the server and its unfinished answers.
func (a *Agency) Close() error {
	if a.srv == nil {
		return nil
	}
	a.mu.Lock()
	select {
	case <-a.done:
	default:
		close(a.done)
	}

	a.mu.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	err := a.srv.Shutdown(ctx)
	if err != nil {
		err = a.srv.Close()
	}
	a.wg.Wait()
	return err
}
