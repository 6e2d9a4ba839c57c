package waterml

import (
	"time"

	"example.org/coldseam/ingest"
)

// takeRun takes the points that the scanner read in the place of r.
func (ts *timeseries) takeRun(r *ingest.Node) {
	run, ok := ts.d.scan.claim(r.Attr(otherSpace, "n"))
	if !ok {
		return
	}
	if run.nilled && !isNil(r.Attrs) { // the prefix xsi means something else here
		ts.d.scan.failed = true
		return
	}

	ts.prepare()
	ts.n += len(run.points)
	if ts.why != nil {
		return
	}
	first := int32(len(ts.kinds)) + 1 // points without metadata have index -1
	ts.kinds = append(ts.kinds, ts.kind(ts.def))
	nilled := []bool{ts.def.nilled}
	for _, m := range r.Named("m") {
		meta := ts.def.over(metaOf(m.Kid(wml, "metadata").First()))
		ts.kinds = append(ts.kinds, ts.kind(meta))
		nilled = append(nilled, meta.nilled)
	}

	for _, p := range run.points {
		p.nil = p.nil || nilled[p.meta+1]
		p.meta += first
		k := &ts.kinds[p.meta]
		if k.err == nil && k.succ {
			end, err := ts.shift(time.Unix(p.sec, int64(p.nsec)).UTC(), *k)
			k.err = err
			p.sec, p.nsec = end.Unix(), int32(end.Nanosecond())
		}

		if k.err != nil {
			ts.skipTime(k.err)
			continue
		}

		ts.items = append(ts.items, item{p, -1})
	}

	if ts.d.st == nil && ts.sure() {
		ts.flush()
	}
}

// sure reports whether the values so far decide what the series is: a value
// that is not later than the result time makes it observations for good.
func (ts *timeseries) sure() bool {
	ts.see()
	_, is := ts.d.issue(ts.o, ts.site.site, ts.first)
	return !is || ts.d.p.Kind == "forecast" || ts.o.simulated || ts.o.analysis != ""
}
