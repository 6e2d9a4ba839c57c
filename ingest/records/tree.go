package records

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// Bounds of a document in memory: a value costs some 60 bytes beside its text, and
// an object as much as objectNodes of them [proposal].
const (
	maxNodes    = 300_000
	objectNodes = 5
	maxDepth    = 64
	maxColumns  = 500
)

// tree decodes one JSON document. Numbers keep their text. Two members of one
// name are refused: a decoder that takes the last would take another value than
// one that takes the first.
func tree(body []byte) (any, error) {
	d, err := ingest.NewJSON(body)
	if err != nil {
		return nil, err
	}
	t := &treeReader{d: d, names: map[string]string{}}
	root, err := t.node(0)
	if err != nil {
		return nil, err
	}
	return root, ingest.EndJSON(d)
}

type treeReader struct {
	d     *json.Decoder
	n     int
	names map[string]string // each name once
}

func (t *treeReader) node(depth int) (any, error) {
	tok, err := t.d.Token()
	if err != nil {
		return nil, ingest.JSONError(err)
	}
	if t.n++; t.n > maxNodes || depth > maxDepth {
		return nil, fmt.Errorf("json: more than %d values, or deeper than %d: %w", maxNodes, maxDepth, coldseam.ErrInvalid)
	}
	delim, ok := tok.(json.Delim)
	if !ok {
		return tok, nil
	}

	if delim == '[' {
		var list []any
		for t.d.More() {
			v, err := t.node(depth + 1)
			if err != nil {
				return nil, err
			}
			list = append(list, v)
		}
		return list, t.end()
	}

	t.n += objectNodes
	object := map[string]any{}
	for t.d.More() {
		tok, err := t.d.Token()
		if err != nil {
			return nil, ingest.JSONError(err)
		}
		name, _ := tok.(string)
		if known, ok := t.names[name]; ok {
			name = known
		} else {
			t.names[name] = name
		}
		if _, twice := object[name]; twice {
			return nil, fmt.Errorf("json: member %q stands twice: %w", clip(name), coldseam.ErrInvalid)
		}
		if object[name], err = t.node(depth + 1); err != nil {
			return nil, err
		}
	}
	return object, t.end()
}

// end takes the closing bracket.
func (t *treeReader) end() error {
	if _, err := t.d.Token(); err != nil {
		return ingest.JSONError(err)
	}
	return nil
}

// textLevels lead through what blocks returns.
var textLevels = []string{"$[*]", "$.rows[*]"}

// blocks reads delimited text: a list of blocks, each an object of its "key,
// value" lines and its rows, each row an object by column name. open says that
// the last line has no end: it may be cut short and is left out.
func blocks(body []byte, m ingest.Records) (root []any, open bool, ragged []string, err error) {
	if !utf8.Valid(body) || bytes.IndexByte(body, 0) >= 0 {
		return nil, false, nil, fmt.Errorf("text is not UTF-8 (set encoding_override): %w", coldseam.ErrInvalid)
	}
	if i := bytes.LastIndexByte(body, '\n'); i < len(body)-1 {
		open, body = len(bytes.TrimSpace(body[i+1:])) > 0, body[:i+1]
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
			return nil, open, nil, fmt.Errorf("text: a line of %d cells, at most %d: %w", n+1, maxColumns, coldseam.ErrInvalid)
		}
	}
	t := table{m: m, headerAt: max(m.HeaderLine, 1)}
	for {
		rec, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, open, nil, fmt.Errorf("text: %s: %w", clip(err.Error()), coldseam.ErrInvalid)
		}
		line, _ := r.FieldPos(0)
		if err := t.take(line, rec); err != nil {
			return nil, open, nil, err
		}
	}
	t.flush()
	if t.blocks == nil {
		return nil, open, nil, fmt.Errorf("text: no line of column names: %w", coldseam.ErrInvalid)
	}
	return t.blocks, open, t.ragged, nil
}

// table gathers the rows of text.
type table struct {
	m        ingest.Records
	headerAt int
	blocks   []any
	meta     map[string]any
	names    []string
	rows     []any
	ragged   []string
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
		cells := slices.Clone(rec)
		cells[0] = first
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if t.m.MetaPrefix != "" && len(cells) >= 2 {
			t.metaLine(cells)
		}
		t.names = cells
		return nil
	case t.names == nil:
		return fmt.Errorf("text: line %d stands before the column names: %w", line, coldseam.ErrInvalid)
	case len(rec) > len(t.names), len(rec) < len(t.names) && !t.m.ShortRows:
		t.ragged = append(t.ragged, fmt.Sprintf("line %d has %d fields, want %d", line, len(rec), len(t.names)))
		return nil
	}

	for i, c := range t.names {
		if len(t.rows) == 0 && slices.Index(t.names, c) < i {
			return fmt.Errorf("text: column %q stands twice: %w", clip(c), coldseam.ErrInvalid)
		}
	}

	row := make(map[string]any, len(rec))
	for i, c := range rec {
		row[t.names[i]] = c
	}
	t.rows = append(t.rows, row)
	return nil
}

func (t *table) metaLine(cells []string) {
	if t.meta == nil {
		t.meta = map[string]any{}
	}
	t.meta[cells[0]] = cells[1]
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
	t.meta, t.names, t.rows = nil, nil, nil
}
