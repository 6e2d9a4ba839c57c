package waterml

import (
	"bytes"
	"errors"
	"io"
	"strconv"

	"example.org/coldseam/ingest"
)

// Large documents are almost all points of one plain form:
//
//	<P:point><P:MeasurementTVP><P:time>T</P:time><P:value>V</P:value>[<P:metadata>...</P:metadata>]</P:MeasurementTVP></P:point>
//
// with white space between the tags and nothing else. The scanner stands
// between the document and the strict token loop. It takes runs of such points
// out of the stream and puts one placeholder in their place:
//
//	<P:point><coldseam-run n="0"><m>first metadata</m>...<v/></coldseam-run></P:point>
//
// Everything else passes through untouched, so that there is one parser and
// not two: prefixes, nesting, encodings, entities and the metadata of the
// points are all read by the strict loop, which claims a run only where a
// point may stand. A run that nobody claims, or any error, means that the
// document is not of the plain kind, and it is read again without the scanner.
// So the scanner can make a document faster, but never different.
type scanner struct {
	src  io.Reader
	buf  []byte
	r, w int
	err  error  // of src, after the buffered bytes
	out  []byte // placeholder bytes still to be handed out
	skip int    // absolute position up to which bytes pass without a look

	base   int // absolute position of buf[0]
	run    run
	seq    int
	taken  bool // the current run has been claimed
	failed bool // a run was not claimed
	tags   tags
}

// run is a run of points as the scanner read them.
type run struct {
	points []fastPoint
	metas  [][]byte // distinct metadata, as written
	keys   map[string]int32
	nilled bool
}

// fastPoint is one point: seconds and nanoseconds since 1970 UTC, value, and
// the index of its metadata, -1 for none.
type fastPoint struct {
	sec  int64
	v    float64
	nsec int32
	meta int32
	nil  bool
}

const (
	window    = 256 << 10
	maxPoint  = 8 << 10 // a longer point takes the strict way
	maxRun    = 1024
	maxMetas  = 64
	runName   = "coldseam-run"
	maxPrefix = 24
)

// tags are the literal tags of one prefix.
type tags struct {
	prefix                           string // with its colon, or empty
	point, tvp, time, timeEnd, value []byte
	valueEnd, meta, metaEnd, tvpEnd  []byte
	pointEnd, nilShort               []byte
}

func tagsOf(prefix string) tags {
	open := func(s string) []byte { return []byte("<" + prefix + s + ">") }
	end := func(s string) []byte { return []byte("</" + prefix + s + ">") }
	return tags{
		prefix:   prefix,
		point:    open("point"),
		tvp:      open("MeasurementTVP"),
		time:     open("time"),
		timeEnd:  end("time"),
		value:    open("value"),
		valueEnd: end("value"),
		meta:     open("metadata"),
		metaEnd:  end("metadata"),
		tvpEnd:   end("MeasurementTVP"),
		pointEnd: end("point"),
		nilShort: []byte("<" + prefix + `value xsi:nil="true"/>`),
	}
}

func newScanner(src io.Reader) *scanner {
	return &scanner{src: src, buf: make([]byte, window), run: run{keys: map[string]int32{}}}
}

// ReadByte hands out the stream. The strict loop reads it a byte at a time, so
// the run behind a placeholder is always the one that is being read.
func (s *scanner) ReadByte() (byte, error) {
	if len(s.out) > 0 {
		b := s.out[0]
		s.out = s.out[1:]
		return b, nil
	}
	if s.r == s.w && !s.fill() {
		return 0, s.err
	}
	b := s.buf[s.r]
	if b == '<' && s.base+s.r >= s.skip && s.scan() {
		return s.ReadByte()
	}
	s.r++
	return b, nil
}

// Read is there for io.Reader; the decoder does not use it.
func (s *scanner) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	b, err := s.ReadByte()
	if err != nil {
		return 0, err
	}
	p[0] = b
	return 1, nil
}

// fill reads more behind what is buffered; false at the end.
func (s *scanner) fill() bool {
	if s.r > 0 {
		copy(s.buf, s.buf[s.r:s.w])
		s.base += s.r
		s.w -= s.r
		s.r = 0
	}
	before := s.w
	for s.w < len(s.buf) && s.err == nil {
		var n int
		n, s.err = s.src.Read(s.buf[s.w:])
		if n < 0 || n > len(s.buf)-s.w {
			s.err = errors.New("reader of the document is broken")
			break
		}
		s.w += n
	}
	return s.w > before
}

// scan tries to take a run of points at a '<'.
func (s *scanner) scan() bool {
	if s.w-s.r < maxPoint && s.err == nil {
		s.fill()
	}

	if !s.prefixed(s.buf[s.r:s.w]) {
		return false
	}
	if s.seq > 0 && !s.taken {
		s.failed = true
	}
	s.run.points, s.run.metas, s.run.nilled = s.run.points[:0], s.run.metas[:0], false
	clear(s.run.keys)

	for len(s.run.points) < maxRun {
		if s.w-s.r < maxPoint && s.err == nil {
			s.fill()
		}
		b := s.buf[s.r:s.w]
		k := space1(b, 0)
		n := s.point(b[k:])
		if n == 0 {
			break
		}
		s.r += k + n
	}

	if len(s.run.points) == 0 {
		s.skip = s.base + s.r + 1
		return false
	}
	s.placeholder()
	return true
}

// prefixed reports whether b begins with the start tag of a point, and learns
// its prefix.
func (s *scanner) prefixed(b []byte) bool {
	if s.tags.point != nil && bytes.HasPrefix(b, s.tags.point) {
		return true
	}
	i := bytes.IndexByte(b[:min(len(b), maxPrefix)], '>')
	if i < 0 || !bytes.HasSuffix(b[:i], []byte("point")) {
		return false
	}
	name := b[1 : i-len("point")]
	if len(name) > 0 && name[len(name)-1] != ':' {
		return false
	}

	for _, c := range name[:max(len(name)-1, 0)] {
		if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9') {
			return false
		}
	}
	s.tags = tagsOf(string(name))
	return true
}

func (s *scanner) placeholder() {
	p := s.out[:0]
	p = append(p, s.tags.point...)
	p = append(p, "<"+runName+` n="`...)
	p = strconv.AppendInt(p, int64(s.seq), 10)
	p = append(p, '"')
	if s.run.nilled {
		p = append(p, ` xsi:nil="true"`...)
	}

	p = append(p, '>')
	for _, m := range s.run.metas {
		p = append(p, "<m>"...)
		p = append(p, m...)
		p = append(p, "</m>"...)
	}

	p = append(p, "<v/></"+runName+">"...)
	s.out = append(p, s.tags.pointEnd...)
	s.seq++
	s.taken = false
}

// claim gives out the run of a placeholder, once.
func (s *scanner) claim(n string) (*run, bool) {
	if s.taken || s.seq == 0 || n != strconv.Itoa(s.seq-1) {
		s.failed = true
		return nil, false
	}
	s.taken = true
	return &s.run, true
}

// sound reports whether every run was claimed.
func (s *scanner) sound() bool { return !s.failed && (s.seq == 0 || s.taken) }

func space1(b []byte, i int) int {
	for i < len(b) && (b[i] == ' ' || b[i] == '\n' || b[i] == '\r' || b[i] == '\t') {
		i++
	}
	return i
}

// after returns the position behind tag at i, white space before it passed
// over; -1 when something else stands there.
func after(b []byte, i int, tag []byte) int {
	if i >= 0 && i < len(b) && b[i] != '<' {
		i = space1(b, i)
	}
	if i < 0 || len(b)-i < len(tag) || string(b[i:i+len(tag)]) != string(tag) {
		return -1
	}
	return i + len(tag)
}

// point reads one point of the plain form at the start of b, appends it to the
// run and returns its length; 0 for anything else.
func (s *scanner) point(b []byte) int {
	t := &s.tags
	if len(b) > maxPoint {
		b = b[:maxPoint]
	}
	i := after(b, 0, t.point)
	i = after(b, i, t.tvp)
	i = after(b, i, t.time)
	if i < 0 {
		return 0
	}

	var p fastPoint
	var n int
	if p.sec, p.nsec, n = ingest.FastTime(b[i:]); n == 0 {
		return 0
	}
	i += n
	if len(b)-i < len(t.timeEnd) || string(b[i:i+len(t.timeEnd)]) != string(t.timeEnd) {
		return 0
	}

	i += len(t.timeEnd)
	if i = s.value(b, i, &p); i < 0 {
		return 0
	}
	p.meta = -1
	if j := after(b, i, t.tvpEnd); j >= 0 {
		i = j
	} else if i = s.metadata(b, i, &p); i < 0 {
		return 0
	}

	if i = after(b, i, t.pointEnd); i < 0 {
		return 0
	}
	s.run.nilled = s.run.nilled || p.nil
	s.run.points = append(s.run.points, p)
	return i
}

func (s *scanner) value(b []byte, i int, p *fastPoint) int {
	t := &s.tags
	j := after(b, i, t.value)
	if j < 0 {
		p.nil = true
		return after(b, i, t.nilShort)
	}
	v, n := ingest.FastDecimal(b[j:])
	if n == 0 {
		return -1
	}
	p.v = v
	j += n
	if len(b)-j < len(t.valueEnd) || string(b[j:j+len(t.valueEnd)]) != string(t.valueEnd) {
		return -1
	}
	return j + len(t.valueEnd)
}

// metadata keeps the bytes of the element; its meaning is the strict loop's to
// find. Comments and the like are not taken: they could hide the end tag.
func (s *scanner) metadata(b []byte, i int, p *fastPoint) int {
	t := &s.tags
	j := after(b, i, t.meta)
	if j < 0 {
		return -1
	}
	start := j - len(t.meta)
	n := bytes.Index(b[j:], t.metaEnd)
	if n < 0 {
		return -1
	}

	end := j + n + len(t.metaEnd)
	frag := b[start:end]
	k, ok := s.run.keys[string(frag)]
	if !ok {
		if len(s.run.metas) == maxMetas || bytes.Contains(frag, []byte("<!")) || bytes.Contains(frag, []byte("<?")) {
			return -1
		}
		k = int32(len(s.run.metas))
		key := string(frag)
		s.run.metas = append(s.run.metas, []byte(key))
		s.run.keys[key] = k
	}

	p.meta = k
	return after(b, end, t.tvpEnd)
}
