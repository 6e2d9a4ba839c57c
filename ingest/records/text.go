package records

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// textLevels lead through what blocks returns.
var textLevels = []string{"$[*]", "$.rows[*]"}

// text reads delimited text and takes note of what its lines do not hold.
func (d *doc) text(body []byte) (any, error) {
	if s := ingest.Sniff(body); s == ingest.ShapeXML || s == ingest.ShapeJSON {
		said := ingest.ServiceError(body)
		if said == "" {
			said = fmt.Sprintf("begins %q", clip(string(bytes.TrimSpace(body))))
		}
		return nil, fmt.Errorf("no delimited text: %s: %w", said, coldseam.ErrInvalid)
	}
	t, err := blocks(body, d.m.Records)
	if err != nil {
		return nil, err
	}
	header := map[string]any{}
	for _, name := range t.header {
		header[name] = ""
	}
	known := func(v ingest.RecordValue) bool {
		i := slices.Index(d.m.Values, v)
		p := d.m.at[fmt.Sprintf("values[%d].value", i)]
		return p.up > 0 || len(p.path.Select(header)) > 0
	}
	for i := range d.m.Values { // a mark that nobody reads, such as ice, would be no mark
		q := d.m.at[fmt.Sprintf("values[%d].qualifier", i)]
		if q != nil && q.path != nil && q.up == 0 && len(q.path.Select(header)) == 0 {
			return nil, fmt.Errorf("column %s of the map is not there, there are %q: %w", q.path,
				clip(strings.Join(t.header, "\", \"")), coldseam.ErrInvalid)
		}
	}
	if !slices.ContainsFunc(d.m.Values, known) {
		return nil, fmt.Errorf("no column of the map, there are %q: %w", clip(strings.Join(t.header, "\", \"")),
			coldseam.ErrInvalid)
	}

	for _, why := range t.ragged {
		d.tried++
		d.refuse("row", ingest.Because(ingest.CodeRow, errors.New(why)))
	}
	if t.open {
		d.b.Skip("last line", ingest.CodeRow, "it has no line end: it may be cut short")
	}
	return t.blocks, nil
}

// blocks reads delimited text: a list of blocks, each an object of its "key,
// value" lines and its rows, each row an object by column name. A last line
// without an end may be cut short and is left out.
func blocks(body []byte, m ingest.Records) (*table, error) {
	t := &table{m: m, headerAt: max(m.HeaderLine, 1)}
	if !utf8.Valid(body) || bytes.IndexByte(body, 0) >= 0 {
		return nil, fmt.Errorf("text is not UTF-8 (set encoding_override): %w", coldseam.ErrInvalid)
	}
	if i := bytes.LastIndexByte(body, '\n'); i < len(body)-1 {
		t.open, body = len(bytes.TrimSpace(body[i+1:])) > 0, body[:i+1]
	}

	r := csv.NewReader(bytes.NewReader(body))
	r.FieldsPerRecord, r.Comma, r.ReuseRecord = -1, ',', true
	switch {
	case m.Delimiter == "tab":
		r.Comma = '\t'
	case m.Delimiter != "":
		r.Comma, _ = utf8.DecodeRuneInString(m.Delimiter)
	}

	for line := range bytes.Lines(body) { // the reader holds a whole line in pieces
		if n := bytes.Count(line, []byte(string(r.Comma))); n >= maxColumns {
			return nil, fmt.Errorf("text: a line of %d cells, at most %d: %w", n+1, maxColumns, coldseam.ErrInvalid)
		}
	}
	for {
		rec, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("text: %s: %w", clip(err.Error()), coldseam.ErrInvalid)
		}
		line, _ := r.FieldPos(0)
		if err := t.take(line, rec); err != nil {
			return nil, err
		}
	}
	t.flush()
	if t.blocks == nil {
		return nil, fmt.Errorf("text: no line of column names: %w", coldseam.ErrInvalid)
	}
	return t, nil
}

// table gathers the rows of text.
type table struct {
	m        ingest.Records
	headerAt int
	blocks   []any
	meta     map[string]any
	names    []string
	clash    error    // of names, which matters only if rows follow: each line before them may be the header
	header   []string // names of the newest block
	rows     []any
	ragged   []string
	open     bool // the last line has no end
	n        int
}

func (t *table) take(line int, rec []string) error {
	if t.n += objectNodes + len(rec); t.n > maxNodes {
		return fmt.Errorf("text: more than %d cells: %w", maxNodes, coldseam.ErrInvalid)
	}
	first, isMeta := strings.CutPrefix(rec[0], t.m.MetaPrefix)
	switch {
	case t.m.MetaPrefix == "" && line < t.headerAt:
		return nil
	case t.m.MetaPrefix == "" && line == t.headerAt, t.m.MetaPrefix != "" && isMeta:
		if len(t.rows) > 0 { // the lines of the next block begin
			t.flush()
		}
		rec[0] = first
		if t.m.MetaPrefix != "" && len(rec) >= 2 {
			t.metaLine(strings.TrimSpace(rec[0]), strings.TrimSpace(rec[1]))
		}
		t.names, t.clash = numbered(rec)
		return nil
	case t.clash != nil:
		return fmt.Errorf("text: %w", t.clash)
	case t.names == nil:
		return fmt.Errorf("text: line %d stands before the column names: %w", line, coldseam.ErrInvalid)
	case len(rec) > len(t.names), len(rec) < len(t.names) && !t.m.ShortRows:
		t.ragged = append(t.ragged, fmt.Sprintf("line %d has %d fields, want %d", line, len(rec), len(t.names)))
		return nil
	}

	row := make(map[string]any, len(rec))
	for i, c := range rec {
		row[t.names[i]] = c
	}
	t.rows = append(t.rows, row)
	return nil
}

// metaLine takes a line before the rows; one that comes again begins the next
// block, although this one had no rows.
func (t *table) metaLine(key, value string) {
	if _, again := t.meta[key]; again {
		t.flush()
	}
	if t.meta == nil {
		t.meta = map[string]any{}
	}
	t.meta[key] = value
}

func (t *table) flush() {
	if t.names == nil {
		return
	}
	block := map[string]any{"rows": t.rows}
	for k, v := range t.meta {
		if k != "rows" {
			block[k] = v
		}
	}
	t.blocks = append(t.blocks, block)
	t.meta, t.header, t.names, t.rows = nil, t.names, nil, nil
}
