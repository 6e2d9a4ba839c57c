package records

import (
	"encoding/json"
	"fmt"

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
