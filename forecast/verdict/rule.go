package verdict

import (
	"slices"

	"example.org/coldseam"
)

// legal returns the closures of the local day.
func (in *Inputs) legal() []coldseam.Reason {
	var out []coldseam.Reason
	for _, r := range in.seasonRules() {
		if slices.ContainsFunc(r.Closed, func(d coldseam.DayRange) bool { return d.Contains(in.Day) }) {
			text := r.Text
			if text == "" {
				text = "closed on this date"
			}
			if r.Link != "" {
				text += ": " + r.Link
			}
			out = append(out, reason(KindLegal, "closed", text, "", "season rule"))
		}
	}
	return out
}

// seasonRules are the season rules of the reach and of the species.
func (in *Inputs) seasonRules() []coldseam.Rule {
	var out []coldseam.Rule
	for _, r := range in.Reach.Rules {
		if r.Kind == coldseam.RuleSeason && (r.Species == "" || r.Species == in.species()) {
			out = append(out, r)
		}
	}
	return out
}
