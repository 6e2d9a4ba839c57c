package waterml

import (
	"bufio"
	"fmt"
	"io"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// chunk is how many values of a series Stream gives out at a time.
const chunk = 2048

// maxText bounds the text between two tags of a stream.
const maxText = 8 << 20

// Stream reads a document of any size, such as decades of 15-minute values, in
// flat memory. It goes through the document twice: nothing is given out unless
// all of it was found valid. Then emit gets one Batch after another, each with
// up to some thousand values of one series, in the order of the document; times repeat
// only as far as the document repeats them in another chunk. Forecasts come
// with each of their series, station records and Skipped with the last Batch.
// An error of emit ends the reading and is returned.
//
// Unlike Parse it takes no document in another encoding than UTF-8.
func Stream(r io.ReadSeeker, p ingest.Profile, emit func(ingest.Batch) error) error {
	d := newDoc(p)
	d.st = &streaming{}
	fast := true
	err := d.stream(r, fast)
	if err != nil {
		d, fast = newDoc(p), false
		d.st = &streaming{}
		err = d.stream(r, fast)
	}

	if err != nil {
		return fmt.Errorf("waterml: %w", err)
	}
	again := newDoc(p)
	again.ambiguous, again.st = d.ambiguous, &streaming{emit: emit, earliest: d.st.earliest}
	if err := again.stream(r, fast); err != nil {
		return fmt.Errorf("waterml: %w", err)
	}
	return nil
}

// streaming is the state of one pass of Stream. The first pass has no emit: it
// checks the document and finds the earliest time of each series, on which it
// depends whether the series is a forecast.
type streaming struct {
	emit     func(ingest.Batch) error
	earliest []time.Time
	n        int             // series of the second pass so far
	look     func(fastPoint) // for benchmarks: sees the points of the first pass
}

// stream reads the document once.
func (d *doc) stream(r io.ReadSeeker, fast bool) error {
	open := func() (*ingest.XML, error) {
		if _, err := r.Seek(0, io.SeekStart); err != nil {
			return nil, err
		}
		src := &textLimit{r: r}
		if fast {
			d.scan = newScanner(src)
			return ingest.NewXMLReader(d.scan), nil
		}
		return ingest.NewXMLReader(bufio.NewReaderSize(src, 64<<10)), nil
	}
	x, err := open()
	if err != nil {
		return err
	}

	if d.st.emit != nil { // references matter for what is given out only
		if err := d.learn(x); err != nil {
			return err
		}
		if x, err = open(); err != nil {
			return err
		}
	}

	if err := d.read(x); err != nil {
		return err
	}
	if d.scan != nil && !d.scan.sound() {
		return fmt.Errorf("not of the plain form: %w", coldseam.ErrInvalid)
	}
	if d.st.emit == nil {
		return nil
	}
	b, err := d.batch()
	if err != nil {
		return err
	}

	return d.st.emit(b)
}

// give hands out what the builders hold and empties them.
func (d *doc) give() error {
	sites := d.sites
	d.sites = nil // they come once, at the end
	b, err := d.batch()
	d.sites = sites
	d.b.Reset()
	clear(d.forecasts)
	if err != nil || d.st.emit == nil || len(b.Series)+len(b.Forecasts)+len(b.Skipped) == 0 {
		return err
	}
	return d.st.emit(b)
}

// chunk passes the items on and begins anew.
func (ts *timeseries) chunk() error {
	st := ts.d.st
	ts.see()
	for i := 0; st.look != nil && i < len(ts.items); i++ {
		st.look(ts.items[i].fastPoint)
	}

	if st.emit != nil && len(ts.items) > 0 {
		b := ts.d.target(ts.o, ts.site.site, st.earliest[st.n])
		for i := range ts.items {
			ts.put(b, &ts.items[i])
		}
		if b == ts.d.b { // a forecast stays whole
			if err := ts.d.give(); err != nil {
				return err
			}
		}
	}

	ts.reset()
	return nil
}

// endStream is the end of a series under Stream.
func (ts *timeseries) endStream() error {
	st := ts.d.st
	if err := ts.chunk(); err != nil {
		return err
	}
	if st.emit == nil {
		st.earliest = append(st.earliest, ts.first)
		return nil
	}
	st.n++
	return ts.d.give()
}

// textLimit ends a stream whose text runs on without a tag: the decoder would
// hold all of it.
type textLimit struct {
	r io.Reader
	n int
}

func (t *textLimit) Read(p []byte) (int, error) {
	n, err := t.r.Read(p)
	last := -1
	for i := n - 1; i >= 0; i-- {
		if p[i] == '<' {
			last = i
			break
		}
	}
	if last >= 0 {
		t.n = n - last
	} else {
		t.n += n
	}
	if t.n > maxText {
		return 0, fmt.Errorf("more than %d bytes between two tags: %w", maxText, coldseam.ErrInvalid)
	}
	return n, err
}
