package ingest

import (
	"slices"
	"sort"
	"strings"
	"unicode"

	"example.org/coldseam"
)

// actionFlags: what a qualifier of the config does to a value.
var actionFlags = map[string]coldseam.Flag{
	"ok":        0,
	"warn":      coldseam.Suspect,
	"bad":       coldseam.Bad,
	"missing":   coldseam.Missing,
	"ice":       coldseam.Ice | coldseam.Suspect,
	"estimated": coldseam.Estimated | coldseam.Suspect,
	"equipment": coldseam.Equipment | coldseam.Suspect,
}

// wordActions: default meaning of a word inside a qualifier text. Ice-affected
// flow stays usable with a warning: March is the season of interest.
var wordActions = []struct {
	prefix string
	action string
}{
	{"ice", "ice"}, {"icing", "ice"}, {"frazil", "ice"}, {"frozen", "ice"}, {"glace", "ice"},
	{"estim", "estimated"}, {"est", "estimated"},
	{"equip", "equipment"}, {"eqp", "equipment"}, {"backwater", "equipment"}, {"bkw", "equipment"},
	{"malfunction", "equipment"}, {"mnt", "equipment"},
}

// Quality turns an agency's approval word and qualifier codes into flags and
// the sorted raw codes. Codes are looked up in the profile first (as written,
// then without case); an unknown code warns and is never dropped. A qualifier
// that is itself an approval word sets the approval instead of a warning.
func (p Profile) Quality(approval string, qualifiers []string) (coldseam.Flag, []string) {
	f := p.approval(approval)
	var raw []string
	for _, q := range qualifiers {
		q = strings.TrimSpace(q)
		if q == "" {
			continue
		}
		raw = append(raw, clip(q))
		if a := p.approval(q); a != 0 {
			f |= a
			continue
		}
		f |= p.qualifier(q)
	}
	sort.Strings(raw)
	return f, slices.Compact(raw)
}

func (p Profile) approval(word string) coldseam.Flag {
	w := strings.TrimSpace(word)
	v, ok := p.Approval[w]
	if !ok {
		v = strings.ToLower(w)
	}
	switch v {
	case "provisional":
		return coldseam.Provisional
	case "approved":
		return coldseam.Approved
	}
	return 0
}

func (p Profile) qualifier(q string) coldseam.Flag {
	if a, ok := p.Qualifiers[q]; ok {
		return actionFlags[a]
	}
	for k, a := range p.Qualifiers {
		if strings.EqualFold(k, q) {
			return actionFlags[a]
		}
	}

	low := strings.ToLower(q)
	if low == "revised" {
		return 0 // a word of the US service [from memory]: the value was looked at again
	}
	f := coldseam.Suspect
	if strings.Contains(low, "flood damage") {
		f |= actionFlags["equipment"]
	}

	words := strings.FieldsFunc(low, func(r rune) bool { return !unicode.IsLetter(r) })
	for _, w := range words {
		for _, a := range wordActions {
			if strings.HasPrefix(w, a.prefix) {
				f |= actionFlags[a.action]
			}
		}
	}

	return f
}
