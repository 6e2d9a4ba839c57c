package verdict

import (
	"fmt"
	"slices"
	"strings"
	"time"

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

var classNames = map[string]AlertClass{"none": AlertNone, "minor": AlertMinor, "watch": AlertWatch, "dam_release": AlertRelease,
	"ice": AlertIce, "storm": AlertStorm, "flood": AlertFlood}

// ParseAlertClass reads the name a config list uses: flood, storm, ice,
// dam_release, watch, minor or none.
func ParseAlertClass(name string) (AlertClass, error) {
	c, ok := classNames[name]
	if !ok {
		return AlertNone, fmt.Errorf("alert class %q, want flood, storm, ice, dam_release, watch, minor or none: %w", name, coldseam.ErrInvalid)
	}
	return c, nil
}

// AlertRule says what the warnings of a provider mean, in that provider's own
// codes or words. Words must all stand in the event or headline, in any
// letter case.
type AlertRule struct {
	Provider string // "" = every provider
	Class    AlertClass
	Codes    []string // values of event codes: FLW, FL.W
	Words    []string
	Without  []string // words that must not stand there
}

// defaultAlertRules read English and German texts and the SAME and VTEC codes
// [source: NWSI 10-1712 and 10-1703, from memory]. A provider in another
// language needs its own rules; until then its severe warnings cap.
var defaultAlertRules = []AlertRule{
	{Class: AlertStorm, Codes: []string{"FFW", "SVR", "TOR", "FF.W", "SV.W", "TO.W"}},
	{Class: AlertFlood, Codes: []string{"FLW", "FL.W", "FA.W", "CFW", "CF.W"}},
	{Class: AlertRelease, Codes: []string{"DBW"}},
	{Class: AlertIce, Codes: []string{"IJA"}},
	{Class: AlertWatch, Codes: []string{"FLA", "FFA", "FLS", "FFS", "FL.A", "FF.A", "FA.A", "FL.Y", "FA.Y", "FL.S", "SVA", "TOA", "SV.A", "TO.A"}},
	{Class: AlertStorm, Words: []string{"flash flood"}, Without: []string{"watch", "advisory", "statement"}},
	{Class: AlertStorm, Words: []string{"severe thunderstorm"}, Without: []string{"watch"}},
	{Class: AlertStorm, Words: []string{"thunderstorm", "warning"}},
	{Class: AlertStorm, Words: []string{"tornado"}, Without: []string{"watch"}},
	{Class: AlertIce, Words: []string{"ice jam"}},
	{Class: AlertIce, Words: []string{"ice-jam"}},
	{Class: AlertIce, Words: []string{"ice run"}},
	{Class: AlertIce, Words: []string{"ice break"}},
	{Class: AlertRelease, Words: []string{"dam", "release"}},
	{Class: AlertRelease, Words: []string{"dam", "warning"}},
	{Class: AlertRelease, Words: []string{"dam break"}},
	{Class: AlertFlood, Words: []string{"flood", "warning"}, Without: []string{"flash"}},
	{Class: AlertFlood, Words: []string{"flood", "emergency"}},
	{Class: AlertFlood, Words: []string{"hochwasserwarnung"}},
	{Class: AlertWatch, Words: []string{"flood"}},
	{Class: AlertWatch, Words: []string{"hochwasser"}},
	{Class: AlertWatch, Words: []string{"tornado", "watch"}},
	{Class: AlertWatch, Words: []string{"severe thunderstorm", "watch"}},
}

// ClassifyAlert reads the kind of a warning. A rule of the club for the
// alert's provider decides alone, whichever of its rules is heaviest; without
// one the shipped rules do. A warning of severe or unstated severity that no
// rule knows is AlertUnknown; one that is damaged and names no event counts as
// the worst plausible case, a flood warning.
func ClassifyAlert(a coldseam.Alert, own []AlertRule) AlertClass {
	if c, ok := heaviest(a, own); ok {
		return c
	}
	if c, ok := heaviest(a, defaultAlertRules); ok {
		return c
	}
	if strings.TrimSpace(a.Event) == "" && len(a.EventCodes) == 0 {
		return AlertFlood
	}
	switch strings.ToLower(a.Severity) {
	case "minor", "moderate":
		return AlertMinor
	}
	return AlertUnknown
}

func heaviest(a coldseam.Alert, rules []AlertRule) (AlertClass, bool) {
	best, found := AlertNone, false
	for _, r := range rules {
		if (r.Provider == "" || r.Provider == a.Provider) && r.fits(a) && (!found || r.Class > best) {
			best, found = r.Class, true
		}
	}
	return best, found
}

func (r AlertRule) fits(a coldseam.Alert) bool {
	for _, have := range a.EventCodes {
		code := have[strings.LastIndexByte(have, '=')+1:]
		if slices.ContainsFunc(r.Codes, func(c string) bool { return strings.EqualFold(c, code) }) {
			return true
		}
	}
	if len(r.Words) == 0 {
		return false
	}
	for _, text := range []string{strings.ToLower(a.Event), strings.ToLower(a.Headline)} {
		if containsAll(text, r.Words) && !slices.ContainsFunc(r.Without, func(w string) bool { return strings.Contains(text, strings.ToLower(w)) }) {
			return true
		}
	}
	return false
}

func containsAll(text string, words []string) bool {
	for _, w := range words {
		if !strings.Contains(text, strings.ToLower(w)) {
			return false
		}
	}
	return true
}

// alive reports whether an alert counts between from and to. Tests, drafts and
// cancels do not; a status that is not stated does.
func alive(a coldseam.Alert, from, to time.Time) bool {
	switch strings.ToLower(a.Status) {
	case "test", "exercise", "draft", "system":
		return false
	}
	if strings.EqualFold(a.MsgType, "cancel") || strings.EqualFold(a.MsgType, "ack") || strings.EqualFold(a.MsgType, "error") {
		return false
	}
	return a.From.Before(to) && (a.End.IsZero() || a.End.After(from))
}
