package verdict

import (
	"strings"
	"time"

	"example.org/coldseam"
)

// AlertClass is what a warning means for the decision.
type AlertClass int

// The classes, by weight.
const (
	AlertNone    AlertClass = iota // no matter for the river
	AlertMinor                     // printed as a note
	AlertUnknown                   // severe in form, unknown in kind: caps
	AlertWatch                     // flood watch or advisory: caution, caps
	AlertRelease                   // dam release: stop 5
	AlertIce                       // ice jam or ice run: stop 2
	AlertStorm                     // severe, tornado or flash-flood warning: stop 3
	AlertFlood                     // flood warning: stop 1
)

// alertRows is read top down; the first row whose words all stand in the event
// wins. Codes are SAME and VTEC event codes [source: NWSI 10-1712, 10-1703,
// from memory].
var alertRows = []struct {
	class AlertClass
	codes []string
	words [][]string
}{
	{AlertStorm, []string{"FFW", "SVR", "TOR"}, [][]string{{"flash flood", "warning"}, {"flash flood", "emergency"}, {"severe thunderstorm", "warning"}, {"tornado", "warning"}, {"thunderstorm", "warning"}}},
	{AlertIce, []string{"IJA"}, [][]string{{"ice jam"}, {"ice run"}, {"ice-jam"}, {"ice-run"}, {"ice break"}}},
	{AlertRelease, []string{"DBW"}, [][]string{{"dam", "release"}, {"dam break"}, {"dam", "warning"}, {"spill", "notice"}}},
	{AlertFlood, []string{"FLW", "FL.W", "CFW"}, [][]string{{"flood", "warning"}, {"hochwasser", "warnung"}, {"flood", "emergency"}}},
	{AlertWatch, []string{"FLA", "FFA", "FA.Y", "FL.Y", "FLS", "FA.A"}, [][]string{{"flood", "watch"}, {"flood", "advisory"}, {"flood", "statement"}, {"flood", "alert"}, {"flood"}, {"hochwasser"}}},
}

// ClassifyAlert reads the kind of a warning from its codes, then from the
// words of its event and headline. A warning of severe form and unknown kind
// is AlertUnknown: it caps the verdict, as silence about it would be a guess.
func ClassifyAlert(a coldseam.Alert) AlertClass {
	for _, r := range alertRows {
		for _, c := range r.codes {
			for _, have := range a.EventCodes {
				code := have[strings.LastIndexByte(have, '=')+1:]
				if strings.EqualFold(code, c) {
					return r.class
				}
			}
		}
	}
	for _, text := range []string{strings.ToLower(a.Event), strings.ToLower(a.Headline)} {
		for _, r := range alertRows {
			for _, w := range r.words {
				if containsAll(text, w) {
					return r.class
				}
			}
		}
	}
	switch strings.ToLower(a.Severity) {
	case "severe", "extreme", "unknown", "":
		return AlertUnknown
	}
	return AlertMinor
}

func containsAll(text string, words []string) bool {
	for _, w := range words {
		if !strings.Contains(text, w) {
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
	if strings.EqualFold(a.MsgType, "cancel") {
		return false
	}
	return a.From.Before(to) && (a.End.IsZero() || a.End.After(from))
}
