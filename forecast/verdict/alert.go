package verdict

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"example.org/coldseam"
)

// AlertClass is what a warning means for the decision.
type AlertClass int

// The classes, by weight: where code and words disagree the heavier one holds.
const (
	AlertNone    AlertClass = iota // no matter for the river, by a rule of the club
	AlertMinor                     // not severe and of another kind
	AlertUnknown                   // severe in form, unknown in kind: caution, caps
	AlertWatch                     // flood watch or advisory: caution, caps
	AlertRelease                   // dam release: stop 5
	AlertIce                       // ice jam or ice run: stop 2
	AlertStorm                     // severe, tornado or flash-flood warning: stop 3
	AlertFlood                     // flood warning: stop 1
)

var classNames = map[string]AlertClass{"none": AlertNone, "minor": AlertMinor, "watch": AlertWatch,
	"dam_release": AlertRelease,
	"ice":         AlertIce, "storm": AlertStorm, "flood": AlertFlood}

// ParseAlertClass reads the name a config list uses: flood, storm, ice,
// dam_release, watch, minor or none.
func ParseAlertClass(name string) (AlertClass, error) {
	c, ok := classNames[name]
	if !ok {
		return AlertNone, fmt.Errorf("alert class %q, want flood, storm, ice, dam_release, watch, minor or none: %w",
			name, coldseam.ErrInvalid)
	}
	return c, nil
}

// AlertRule says what the warnings of a provider mean, in that provider's own
// codes or words. Words must all stand in the event or headline, in any order
// and letter case, with or without accents.
type AlertRule struct {
	Provider string // "" = every provider
	Class    AlertClass
	Codes    []string // values of event codes: FLW, FL.W, or with their kind: SAME=FLW
	Words    []string
	Without  []string // words that must not stand there

	severe bool // for warnings that are not called minor or moderate
}

// codeRules read the SAME and VTEC codes and the awareness types of European
// services [source: NWSI 10-1712 and 10-1703, from memory; awareness types from
// memory].
var codeRules = []AlertRule{
	{Class: AlertStorm, Codes: []string{"FFW", "SVR", "TOR", "EWW", "SMW", "HUW", "TRW", "FF.W", "SV.W", "TO.W", "EW.W",
		"MA.W", "HU.W", "TR.W"}},
	{Class: AlertFlood, Codes: []string{"FLW", "CFW", "TSW", "SSW", "EVI", "FL.W", "FA.W", "CF.W", "LS.W", "SS.W",
		"TS.W"}},
	{Class: AlertRelease, Codes: []string{"DBW"}},
	{Class: AlertIce, Codes: []string{"IJA"}},
	{Class: AlertWatch, Codes: []string{"FLA", "FFA", "FLS", "FFS", "CFA", "SVA", "TOA", "DBA", "TSA", "HUA", "TRA",
		"FL.A", "FF.A", "FA.A", "FL.Y", "FA.Y", "FL.S", "FA.S", "CF.A", "CF.Y", "LS.A", "LS.Y", "HY.Y", "SV.A", "TO.A",
		"HU.A", "TR.A"}},
	{Class: AlertFlood, Codes: []string{"awareness_type=12", "awareness_type=13"}, severe: true},
	{Class: AlertStorm, Codes: []string{"awareness_type=3"}, severe: true},
	{Class: AlertWatch, Codes: []string{"awareness_type=12", "awareness_type=13"}},
}

// notYet are words of notices that something may come: they cap and do not
// stop.
var notYet = []string{"watch", "advisory", "statement", "outlook", "potential", "veille"}

// wordRules read English, French and German texts where no code is known. A
// word stands for itself and its plural, one with a star for all that begin so.
// A provider in another language needs its own rules; until then its severe
// warnings cap.
var wordRules = []AlertRule{
	{Class: AlertStorm, Words: []string{"flash", "flood*"}, Without: notYet},
	{Class: AlertStorm, Words: []string{"severe", "thunderstorm"}, Without: notYet},
	{Class: AlertStorm, Words: []string{"thunderstorm", "warning"}},
	{Class: AlertStorm, Words: []string{"thunderstorm"}, Without: notYet, severe: true},
	{Class: AlertStorm, Words: []string{"tornado*"}, Without: notYet},
	{Class: AlertStorm, Words: []string{"orage", "violent"}, Without: notYet},
	{Class: AlertStorm, Words: []string{"orage", "severe"}, Without: notYet},
	{Class: AlertStorm, Words: []string{"orage"}, Without: notYet, severe: true},
	{Class: AlertStorm, Words: []string{"tornade"}, Without: notYet},
	{Class: AlertStorm, Words: []string{"schwer*", "gewitter*"}},
	{Class: AlertStorm, Words: []string{"gewitter*"}, severe: true},
	{Class: AlertStorm, Words: []string{"sturzflut*"}},

	{Class: AlertIce, Words: []string{"ice", "jam"}},
	{Class: AlertIce, Words: []string{"ice", "run"}},
	{Class: AlertIce, Words: []string{"ice", "break*"}},
	{Class: AlertIce, Words: []string{"embacle"}},
	{Class: AlertIce, Words: []string{"debacle"}},
	{Class: AlertIce, Words: []string{"eisstau*"}},
	{Class: AlertIce, Words: []string{"eisgang*"}},

	{Class: AlertRelease, Words: []string{"dam", "release"}},
	{Class: AlertRelease, Words: []string{"dam", "warning"}},
	{Class: AlertRelease, Words: []string{"dam", "fail*"}},
	{Class: AlertRelease, Words: []string{"dam", "break*"}},
	{Class: AlertRelease, Words: []string{"dam", "breach*"}},
	{Class: AlertRelease, Words: []string{"dam", "burst*"}},
	{Class: AlertRelease, Words: []string{"dam", "collaps*"}},
	{Class: AlertRelease, Words: []string{"dam", "over*"}},
	{Class: AlertRelease, Words: []string{"dam", "emergenc*"}},
	{Class: AlertRelease, Words: []string{"levee", "fail*"}},
	{Class: AlertRelease, Words: []string{"levee", "breach*"}},
	{Class: AlertRelease, Words: []string{"dike", "breach*"}},
	{Class: AlertRelease, Words: []string{"dyke", "breach*"}},
	{Class: AlertRelease, Words: []string{"barrage", "rupture"}},
	{Class: AlertRelease, Words: []string{"barrage", "lach*"}},
	{Class: AlertRelease, Words: []string{"digue", "rupture"}},
	{Class: AlertRelease, Words: []string{"dammbruch*"}},
	{Class: AlertRelease, Words: []string{"deichbruch*"}},

	{Class: AlertFlood, Words: []string{"flood*", "warning"}, Without: []string{"flash"}},
	{Class: AlertFlood, Words: []string{"flood*", "emergenc*"}},
	{Class: AlertFlood, Words: []string{"flood*"}, Without: append([]string{"flash"}, notYet...), severe: true},
	{Class: AlertFlood, Words: []string{"high", "water"}, Without: notYet, severe: true},
	{Class: AlertFlood, Words: []string{"high", "water", "warning"}},
	{Class: AlertFlood, Words: []string{"evacuat*"}},
	{Class: AlertFlood, Words: []string{"evacuer"}},
	{Class: AlertFlood, Words: []string{"evakuier*"}},
	{Class: AlertFlood, Words: []string{"tsunami"}, Without: notYet},
	{Class: AlertFlood, Words: []string{"crue"}, Without: notYet, severe: true},
	{Class: AlertFlood, Words: []string{"crue", "avertissement"}},
	{Class: AlertFlood, Words: []string{"crue", "alerte"}},
	{Class: AlertFlood, Words: []string{"inondation"}, Without: notYet, severe: true},
	{Class: AlertFlood, Words: []string{"inondation", "avertissement"}},
	{Class: AlertFlood, Words: []string{"inondation", "alerte"}},
	{Class: AlertFlood, Words: []string{"haute", "eau"}, Without: notYet, severe: true},
	{Class: AlertFlood, Words: []string{"submersion"}, Without: notYet, severe: true},
	{Class: AlertFlood, Words: []string{"hochwasserwarnung*"}},
	{
		Class:   AlertFlood,
		Words:   []string{"hochwasser*"},
		Without: []string{"vorabinformation", "vorwarnung"},
		severe:  true,
	},
	{Class: AlertFlood, Words: []string{"uberflutung*"}, severe: true},
	{Class: AlertFlood, Words: []string{"uberschwemmung*"}, severe: true},

	{Class: AlertWatch, Words: []string{"flood*"}},
	{Class: AlertWatch, Words: []string{"high", "water"}},
	{Class: AlertWatch, Words: []string{"ris*", "water"}},
	{Class: AlertWatch, Words: []string{"dam", "watch"}},
	{Class: AlertWatch, Words: []string{"hochwasser*"}},
	{Class: AlertWatch, Words: []string{"uberflutung*"}},
	{Class: AlertWatch, Words: []string{"uberschwemmung*"}},
	{Class: AlertWatch, Words: []string{"crue"}},
	{Class: AlertWatch, Words: []string{"inondation"}},
	{Class: AlertWatch, Words: []string{"haute", "eau"}},
	{Class: AlertWatch, Words: []string{"submersion"}},
	{Class: AlertWatch, Words: []string{"tornado*"}},
	{Class: AlertWatch, Words: []string{"severe", "thunderstorm"}},
	{Class: AlertWatch, Words: []string{"orage", "veille"}},
}

// ClassifyAlert reads the kind of a warning. A rule of the club for the
// alert's provider decides alone, whichever of its rules is heaviest; without
// one the codes and the words do, the heavier of them. A kind that no rule
// knows is told by severity and urgency; a warning that is damaged and names no
// event counts as the worst plausible case, a flood warning.
func ClassifyAlert(a coldseam.Alert, own []AlertRule) AlertClass {
	texts := alertTexts(a)
	if c, ok := heaviest(a, own, func(r AlertRule, text string) bool {
		has := func(w string) bool { return strings.Contains(text, strings.TrimSpace(folded(w))) }
		return every(r.Words, has) && !slices.ContainsFunc(r.Without, has)
	}, texts); ok {
		return c
	}

	code, known := heaviest(a, codeRules, nil, nil)
	word, said := heaviest(a, wordRules, func(r AlertRule, text string) bool {
		has := func(w string) bool { return hasWord(text, w) }
		return every(r.Words, has) && !slices.ContainsFunc(r.Without, has)
	}, texts)
	if known || said {
		return max(code, word)
	}
	return classBySeverity(a)
}

// classBySeverity judges a kind that no rule knows: by its severity, and where
// that is not said or the threat is there already, never as minor.
func classBySeverity(a coldseam.Alert) AlertClass {
	if strings.TrimSpace(a.Event) == "" && len(a.EventCodes) == 0 {
		return AlertFlood
	}
	urgent := strings.EqualFold(a.Urgency, "Immediate")
	switch strings.ToLower(a.Severity) {
	case "minor":
		return AlertMinor
	case "moderate":
		if !urgent || !certain(a) {
			return AlertMinor
		}
	case "extreme":
		if urgent && certain(a) {
			return AlertStorm
		}
	}
	return AlertUnknown
}

// certain reports whether the event is seen or likely, or nothing else is said.
func certain(a coldseam.Alert) bool {
	return !strings.EqualFold(a.Certainty, "Possible") && !strings.EqualFold(a.Certainty, "Unlikely")
}

func isSevere(a coldseam.Alert) bool {
	return !strings.EqualFold(a.Severity, "Minor") && !strings.EqualFold(a.Severity, "Moderate")
}

// heaviest is the greatest class of the rules that fit by code, or by one of
// the texts.
func heaviest(a coldseam.Alert, rules []AlertRule, fits func(AlertRule, string) bool,
	texts []string) (AlertClass, bool) {
	best, found := AlertNone, false
	for _, r := range rules {
		if r.Provider != "" && r.Provider != a.Provider && r.Provider != a.Feed || r.severe && !isSevere(a) || found &&
			r.Class <= best {
			continue
		}
		byText := len(r.Words) > 0 && slices.ContainsFunc(texts, func(text string) bool { return fits(r, text) })
		if byText || r.hasCode(a) {
			best, found = r.Class, true
		}
	}
	return best, found
}

func (r AlertRule) hasCode(a coldseam.Alert) bool {
	return slices.ContainsFunc(a.EventCodes, func(have string) bool {
		code := have[strings.LastIndexByte(have, '=')+1:]
		return slices.ContainsFunc(r.Codes, func(c string) bool {
			return strings.EqualFold(c, code) || strings.EqualFold(c, have)
		})
	})
}

// alertTexts are the folded texts that may name the kind: event, headline and
// event codes in words, such as damOverflow.
func alertTexts(a coldseam.Alert) []string {
	out := []string{folded(a.Event), folded(a.Headline)}
	for _, c := range a.EventCodes {
		out = append(out, folded(c[strings.LastIndexByte(c, '=')+1:]))
	}
	return out
}

var unaccented = strings.NewReplacer("à", "a", "â", "a", "ä", "a", "ç", "c", "é", "e", "è", "e", "ê", "e", "ë", "e",
	"î", "i", "ï", "i", "ô", "o", "ö", "o",
	"ù", "u", "û", "u", "ü", "u", "œ", "oe", "ß", "ss", "\u0300", "", "\u0301", "", "\u0302", "", "\u0308", "",
	"\u0327", "")

// folded is a text as words in small letters without accents, one space
// between them. A capital inside a word begins a new one: damOverflow.
func folded(s string) string {
	var b strings.Builder
	b.WriteByte(' ')
	low := false
	for _, r := range s {
		switch {
		case unicode.IsUpper(r) && low:
			b.WriteByte(' ')
		case !unicode.IsLetter(r) && !unicode.IsDigit(r) && !unicode.IsMark(r):
			r = ' '
		}
		low = unicode.IsLower(r)
		b.WriteRune(unicode.ToLower(r))
	}
	return strings.Join(strings.Fields(unaccented.Replace(b.String())), " ")
}

// hasWord reports whether a folded text has a word, its plural, or with a star
// a word that begins so.
func hasWord(text, w string) bool {
	stem, open := strings.CutSuffix(w, "*")
	return slices.ContainsFunc(strings.Fields(text), func(have string) bool {
		rest, ok := strings.CutPrefix(have, stem)
		return ok && (open || rest == "" || rest == "s" || rest == "es" || rest == "x")
	})
}

func every(words []string, has func(string) bool) bool {
	return !slices.ContainsFunc(words, func(w string) bool { return !has(w) })
}

// alive reports whether an alert counts between from and to. Tests, drafts and
// cancels do not; a status that is not stated does.
func alive(a coldseam.Alert, from, to time.Time) bool {
	switch strings.ToLower(a.Status) {
	case "test", "exercise", "draft", "system":
		return false
	}
	if strings.EqualFold(a.MsgType, "cancel") || strings.EqualFold(a.MsgType, "ack") ||
		strings.EqualFold(a.MsgType, "error") {
		return false
	}
	return a.From.Before(to) && (a.End.IsZero() || a.End.After(from))
}

// damagedShape reports whether an outline of the warning cannot be read for the
// reach, and nothing else in it tells where it holds.
func damagedShape(a coldseam.Alert) bool {
	return a.Unplaced == "damaged_shape" || a.Unplaced == "exchanged_shape"
}

// unplaced is the reason of a warning of which nobody can say where it holds.
func unplaced(a coldseam.Alert) coldseam.Reason {
	r := ofAlert(KindCaution, "alert_unplaced", a)
	if r.Names == nil {
		r.Names = map[string]string{}
	}
	r.Names["entry"], r.Names["feed"], r.Names["why"] = a.Identifier, a.Feed, a.Unplaced
	return r
}
