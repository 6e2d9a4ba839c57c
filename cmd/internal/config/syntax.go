package config

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"

	"example.org/coldseam"
)

var (
	tableHead = regexp.MustCompile(`^\s*(\[\[?)\s*([^\[\]]+?)\s*\]`)
	headFault = regexp.MustCompile(
		`^toml: line (\d+) \(last key "([^"]*)"\): type mismatch for .*: expected table but found \[\]`)
	typeFault = regexp.MustCompile(
		`^toml: line (\d+) \(last key "([^"]*)"\): incompatible types: .*destination has type (\w+)`)
)

// keyLines finds the line of every table and key of a file. toml tells no
// positions; a key within an inline table has the line where that begins.
func keyLines(text string) map[string]int {
	out, count := map[string]int{}, map[string]int{}
	path := map[string]string{} // "reach.spot" -> "reach[1].spot[0]" of the newest
	table := ""

	full := func(name string) string {
		for parent, rest, ok := cutLast(name); ok; {
			if p, is := path[parent]; is {
				return p + "." + rest
			}
			var last string
			parent, last, ok = cutLast(parent)
			rest = last + "." + rest
		}
		return name
	}

	for i, line := range strings.Split(text, "\n") {
		if m := tableHead.FindStringSubmatch(line); m != nil {
			name := strings.ReplaceAll(m[2], `"`, "")
			table = full(name)
			if m[1] == "[[" {
				n := count[table]
				count[table]++
				table = fmt.Sprintf("%s[%d]", table, n)
			}
			path[name] = table
			out[table] = i + 1
			continue
		}

		if m := keyAssign.FindStringSubmatch(line); m != nil {
			key := m[1]
			if table != "" {
				key = table + "." + key
			}
			if out[key] == 0 {
				out[key] = i + 1
			}
		}
	}

	return out
}

func cutLast(name string) (parent, last string, ok bool) {
	i := strings.LastIndexByte(name, '.')
	if i < 0 {
		return "", name, false
	}
	return name[:i], name[i+1:], true
}

// shapes are what a value of a type looks like.
var shapes = map[string]*regexp.Regexp{
	"string":  regexp.MustCompile(`^["']`),
	"integer": regexp.MustCompile(`^[-+]?\d[\d_]*\s*(#|$)`),
	"float":   regexp.MustCompile(`^[-+]?(\d|inf|nan)`),
	"boolean": regexp.MustCompile(`^(true|false)\b`),
	"slice":   regexp.MustCompile(`^\[`),
}

// lineOfType is the line of a key whose value has not the type wanted. Of keys in
// several tables of one name the parser tells the last line, whichever is wrong.
func lineOfType(text, key, kind string, told int) int {
	shape := shapes[kind]
	if shape == nil {
		return told
	}
	_, last, _ := cutLast(key)
	table := strings.TrimSuffix(strings.TrimSuffix(key, last), ".")

	here := ""
	for i, line := range strings.Split(text, "\n") {
		if m := tableHead.FindStringSubmatch(line); m != nil {
			here = strings.ReplaceAll(m[2], `"`, "")
			continue
		}
		m := keyAssign.FindStringSubmatch(line)
		if m == nil || m[1] != last || here != table {
			continue
		}
		if _, v, _ := strings.Cut(line, "="); !shape.MatchString(strings.TrimSpace(v)) {
			return i + 1
		}
	}
	return told
}

// parserHints say what to write where the parser found something else.
var parserHints = map[string]string{
	"but got ','":              "a dot in a decimal number, and one key a line",
	"expected value but found": "true or false, a number, a text in quotes, or a list in brackets",
}

// syntaxFault words what the parser says about a text that is no configuration.
func syntaxFault(name, text string, err error) error {
	var pe toml.ParseError
	if asParse(err, &pe) {
		msg := pe.Message
		if pe.LastKey != "" && !strings.Contains(msg, pe.LastKey) && !strings.Contains(msg, "already") {
			msg = pe.LastKey + ": " + msg
		}
		for found, want := range parserHints {
			if strings.Contains(msg, found) {
				msg += "; want " + want
			}
		}
		return fmt.Errorf("%s:%d: %s: %w", name, pe.Position.Line,
			strings.TrimSuffix(msg, ": "+coldseam.ErrInvalid.Error()), coldseam.ErrInvalid)
	}

	if m := headFault.FindStringSubmatch(err.Error()); m != nil {
		return fmt.Errorf("%s:%s: %s is a list of tables [[%s]]; want one table [%s]: %w", name, m[1], m[2], m[2], m[2],
			coldseam.ErrInvalid)
	}
	m := typeFault.FindStringSubmatch(err.Error())
	if m == nil {
		return fmt.Errorf("%s: %w: %w", name, err, coldseam.ErrInvalid)
	}

	n, _ := strconv.Atoi(m[1])
	n = lineOfType(text, m[2], m[3], n)
	found := "of another type"
	if lines := strings.Split(text, "\n"); n >= 1 && n <= len(lines) {
		if _, v, ok := strings.Cut(lines[n-1], "="); ok {
			found = strings.TrimSpace(strings.SplitN(v, " #", 2)[0])
		}
	}

	if strings.HasSuffix(m[2], "_url") {
		found = "of another type"
	}
	if lines := strings.Split(text, "\n"); n >= 1 && n <= len(lines) && strings.HasPrefix(strings.TrimSpace(lines[n-1]),
		"[") {
		return fmt.Errorf("%s:%d: %s is one table [%s]; want [[%s]], one for each: %w", name, n, m[2], m[2], m[2],
			coldseam.ErrInvalid)
	}
	want := map[string]string{"string": "a text in quotes", "integer": "a whole number", "float": "a number",
		"boolean": "true or false", "slice": "a list in brackets"}[m[3]]
	if want == "" {
		want = "a " + m[3]
	}
	return fmt.Errorf("%s:%d: %s is %s; want %s: %w", name, n, m[2], found, want, coldseam.ErrInvalid)
}
