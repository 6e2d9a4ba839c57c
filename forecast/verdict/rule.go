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
			why := because(KindLegal, "closed", "season rule", nil)
			why.Names = map[string]string{}
			if r.Text != "" {
				why.Names["rule"] = r.Text
			}
			if r.Link != "" {
				why.Names["link"] = r.Link
			}
			out = append(out, why)
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
