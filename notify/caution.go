package notify

import (
	"strings"

	"example.org/coldseam"
)

// cautionWater, cautionRules and cautionAfter are the caution that stands in
// every mail and page, STOP and NO CALL included; the rules links and their
// last check stand before cautionAfter.
func cautionWater() string {
	return "Made from public gauge and weather data that may be provisional or wrong. " +
		"This is not a safety clearance. Look at the water before you launch and turn back if in doubt. " +
		"Check today's warnings from the weather service and the dam operator. "
}

func cautionRules() string {
	return "Seasons, limits, closed areas and life-jacket rules are set by the state, provincial or tribal agency: check them today: "
}

func cautionBefore() string { return cautionWater() + cautionRules() }

func cautionAfter() string {
	return " Hire a licensed guide if you do not know the reach. " +
		"The club takes no bookings and gives no professional advice."
}

// RuleLink is one rules page that the caution names.
type RuleLink struct {
	Name, Link, Checked string
}

// ruleLinks are the distinct rules pages of the briefs, the season rule of
// each reach first.
func ruleLinks(briefs []coldseam.Brief) []RuleLink {
	var out []RuleLink
	seen := map[string]bool{}
	for _, want := range []bool{true, false} {
		for _, b := range briefs {
			for _, r := range b.Rules {
				link := clean(r.Link)
				if (r.Kind == coldseam.RuleSeason) != want || !webLink(link) || seen[link] {
					continue
				}
				seen[link] = true
				name := "rules of the " + clean(b.River)
				out = append(out, RuleLink{Name: name, Link: link, Checked: checked(r)})
			}
		}
	}
	return out
}

// webLink: only such links leave the house; a rule row is data.
func webLink(s string) bool {
	return (strings.HasPrefix(s, "https://") || strings.HasPrefix(s, "http://")) && !strings.ContainsAny(s, " \"<>\\")
}

const noRuleLink = "the agency's own page has them."
