package records

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/theory/jsonpath"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// place is one place of a map, compiled; see the package comment for the
// grammar. Without a path it is a constant.
type place struct {
	key      string
	up       int
	path     *jsonpath.Path
	constant string
	asked    string // "{site}" or "{parameter}"
	pattern  *regexp.Regexp
	more     *place // joined to this one by a T
	seen     bool   // something stood here in the document that is read
}

// compile reads a place; levels is how many nodes stand above the one that it
// may look at.
func compile(key, text string, levels int) (*place, error) {
	bad := func(why string) error {
		return fmt.Errorf("records.%s = %q: %s: %w", key, text, why, coldseam.ErrInvalid)
	}
	p := &place{key: key}
	rest, pattern, ok := strings.Cut(text, " ~ ")
	if ok {
		var err error
		if p.pattern, err = regexp.Compile(pattern); err != nil {
			return nil, bad(err.Error())
		}
		if p.pattern.NumSubexp() != 1 {
			return nil, bad("want one group")
		}
	}
	for _, sign := range []string{" + $", " + ^"} {
		if i := strings.Index(rest, sign); i > 0 {
			more, err := compile(key, rest[i+3:], levels)
			if err != nil {
				return nil, err
			}
			rest, p.more = rest[:i], more
		}
	}

	if c, ok := strings.CutPrefix(rest, "="); ok {
		p.constant = c
		return p, nil
	}
	if rest == "{site}" || rest == "{parameter}" {
		p.asked = rest
		return p, nil
	}
	path := strings.TrimLeft(rest, "^")
	if p.up = len(rest) - len(path); p.up > levels {
		return nil, bad(fmt.Sprintf("%d levels up, there are %d", p.up, levels))
	}
	var err error
	if p.path, err = jsonpath.Parse(path); err != nil {
		return nil, bad("want a path of RFC 9535: " + err.Error())
	}
	return p, nil
}

// nodes are what the path selects from the chain of nodes that lead to a
// record, the document first.
func (p *place) nodes(chain []any) []any { return p.path.Select(chain[len(chain)-1-p.up]) }

// found is what stands at a place: nothing, null, or text.
type found struct {
	text    string
	is      bool // something is there, if only null
	boolean bool
	number  bool // of JSON: its point is a point
}

// at reads the place of one record. Two nodes where one is wanted, a list or
// an object are errors.
func (p *place) at(chain []any, asked map[string]string) (found, error) {
	if p == nil {
		return found{}, nil
	}
	f := found{text: p.constant, is: true}
	switch {
	case p.asked != "":
		f.text = asked[p.asked]
	case p.path != nil:
		var err error
		if f, err = single(p.nodes(chain)); err != nil {
			return f, fmt.Errorf("%s: %w", p.key, err)
		}
		p.seen = p.seen || f.is
	}

	if p.more != nil {
		tail, err := p.more.at(chain, asked)
		if err != nil || tail.text == "" || f.text == "" {
			return found{is: f.is && tail.is}, err
		}
		f.text += "T" + tail.text
	}
	if p.pattern != nil && f.text != "" {
		m := p.pattern.FindStringSubmatch(f.text)
		if m == nil {
			return f, ingest.Because(ingest.CodeRow, fmt.Errorf("%s: %q does not fit %s", p.key, clip(f.text), p.pattern))
		}
		f.text = m[1]
	}
	return f, nil
}

func single(nodes []any) (found, error) {
	if len(nodes) == 0 {
		return found{}, nil
	}
	if len(nodes) > 1 {
		return found{}, ingest.Because(ingest.CodeRow, fmt.Errorf("%d nodes where one is wanted", len(nodes)))
	}
	switch v := nodes[0].(type) {
	case nil:
		return found{is: true}, nil
	case string:
		return found{text: strings.TrimSpace(v), is: true}, nil
	case json.Number:
		return found{text: v.String(), is: true, number: true}, nil
	case bool:
		return found{text: fmt.Sprint(v), is: true, boolean: true}, nil
	case map[string]any: // an element of XML that has attributes beside its text
		if text, ok := v[ownText].(string); ok && !hasElements(v) {
			return found{text: text, is: true}, nil
		}
	}
	return found{}, ingest.Because(ingest.CodeRow, errors.New("a list or an object where a value is wanted"))
}

// hasElements reports elements within an element of XML, beside its attributes.
func hasElements(v map[string]any) bool {
	for name := range v {
		if name != ownText && !strings.HasPrefix(name, "@") {
			return true
		}
	}
	return false
}

// all are the texts at a place where several may stand, such as marks of quality.
func (p *place) all(chain []any, asked map[string]string) ([]string, error) {
	if p == nil || p.path == nil || p.more != nil {
		f, err := p.at(chain, asked)
		if f.text == "" {
			return nil, err
		}
		return []string{f.text}, err
	}
	nodes := p.nodes(chain)
	if len(nodes) == 1 {
		if list, ok := nodes[0].([]any); ok {
			nodes, p.seen = list, true
		}
	}

	var out []string
	for _, n := range nodes {
		one := *p
		one.path, one.up = whole, 0
		f, err := one.at([]any{n}, asked)
		if err != nil {
			return nil, err
		}
		if p.seen = true; f.text != "" {
			out = append(out, f.text)
		}
	}
	return out, nil
}

// whole is the path of a node to itself.
var whole = jsonpath.MustParse("$")

func clip(s string) string {
	if len(s) <= 80 {
		return s
	}
	return strings.ToValidUTF8(s[:80], "") + "..."
}
