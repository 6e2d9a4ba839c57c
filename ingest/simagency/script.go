package simagency

import (
	"compress/gzip"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// Step is one scripted answer. The zero value is the true answer; the first
// field that is set decides.
type Step struct {
	Status     int           // this status with an empty JSON error
	RetryAfter string        // header of a status, seconds or an HTTP date
	Redirect   string        // 302 to this address
	Drip       time.Duration // one byte of a JSON document each, for ever
	Endless    bool          // valid JSON white space without an end
	Bomb       int64         // gzip of this many zero bytes
	HTML       bool          // an error page with status 200
	BigHeader  int           // a header of this many bytes, then the true answer
	Truncate   int           // the true answer cut after this many bytes
	Drop       bool          // the connection is closed without an answer
	Body       string        // these bytes with status 200
}

type script struct {
	prefix string
	steps  []Step
	loop   bool
}

// Script queues steps for requests whose path begins with prefix; each request
// uses one, and when they are used up the true answers come back.
func (a *Agency) Script(prefix string, steps ...Step) { a.addScript(prefix, false, steps) }

// ScriptForever is Script that begins again with the first step.
func (a *Agency) ScriptForever(prefix string, steps ...Step) { a.addScript(prefix, true, steps) }

// ClearScripts drops all scripts.
func (a *Agency) ClearScripts() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.scripts = nil
}

func (a *Agency) addScript(prefix string, loop bool, steps []Step) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.scripts = append(a.scripts, &script{prefix: prefix, steps: append([]Step(nil), steps...), loop: loop})
}

func (a *Agency) scripted(r *http.Request) (Step, bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, s := range a.scripts {
		if len(s.steps) == 0 || !strings.HasPrefix(r.URL.Path, s.prefix) {
			continue
		}
		step := s.steps[0]
		s.steps = s.steps[1:]
		if s.loop {
			s.steps = append(s.steps, step)
		}
		return step, true
	}
	return Step{}, false
}

// serve writes the step and returns its status; 0 asks for the true answer.
func (s Step) serve(w http.ResponseWriter, r *http.Request, a *Agency) int {
	switch {
	case s.Status != 0:
		if s.RetryAfter != "" {
			w.Header().Set("Retry-After", s.RetryAfter)
		}
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(s.Status)
		_, _ = w.Write([]byte(`{"code":"Scripted","description":"scripted answer"}`))
		return s.Status
	case s.Redirect != "":
		http.Redirect(w, r, s.Redirect, http.StatusFound)
		return http.StatusFound
	case s.Drip > 0, s.Endless:
		a.pour(w, r, s.Drip)
		return http.StatusOK
	case s.Bomb > 0:
		bomb(w, s.Bomb)
		return http.StatusOK
	case s.HTML:
		return body(w, "text/html; charset=utf-8",
			"<!DOCTYPE html>\n<html><head><title>Service unavailable</title></head><body><h1>Maintenance</h1></body></html>\n")
	case s.Drop:
		if c, _, err := http.NewResponseController(w).Hijack(); err == nil {
			_ = c.Close() // closing is the whole point
		}
		return -1
	case s.Body != "":
		return body(w, "application/octet-stream", s.Body)
	case s.BigHeader > 0:
		w.Header().Set("X-Big", strings.Repeat("x", s.BigHeader))
	}

	return 0
}

func body(w http.ResponseWriter, kind, text string) int {
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write([]byte(text)) // a client that has gone is no concern here
	return http.StatusOK
}

// pour sends white space, a valid beginning of a JSON document, until the
// client goes away or the agency is closed.
func (a *Agency) pour(w http.ResponseWriter, r *http.Request, drip time.Duration) {
	w.Header().Set("Content-Type", "application/geo+json")
	rc := http.NewResponseController(w)
	chunk := []byte(strings.Repeat(" ", 64<<10))
	if drip > 0 {
		chunk = chunk[:1]
	}

	for {
		if _, err := w.Write(chunk); err != nil || rc.Flush() != nil {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-a.done:
			return
		case <-time.After(drip):
		}
	}
}

func bomb(w http.ResponseWriter, n int64) {
	w.Header().Set("Content-Type", "application/geo+json")
	w.Header().Set("Content-Encoding", "gzip")
	z, _ := gzip.NewWriterLevel(w, gzip.BestCompression) // the level is valid
	zeros := make([]byte, 1<<20)
	for ; n > 0; n -= int64(len(zeros)) {
		if _, err := z.Write(zeros); err != nil {
			return
		}
	}
	_ = z.Close()
}

// truncate announces the whole length and closes the connection after n bytes.
func truncate(w http.ResponseWriter, b []byte, n int) int {
	w.Header().Set("Content-Length", strconv.Itoa(len(b)))
	w.WriteHeader(http.StatusOK)
	_, _ = w.Write(b[:min(n, len(b))])
	return http.StatusOK
}
