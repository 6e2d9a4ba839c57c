package notify

import (
	"strconv"
	"strings"

	"example.org/coldseam"
)

// Craft names a craft.
func Craft(c coldseam.Craft) string { return keyWords[string(c)] }

// LimitSource says what a proposed flow limit follows from.
func (w Words) LimitSource(c coldseam.FlowCandidate) string {
	words := map[string]string{
		coldseam.LimitActionStage: "agency action stage",
		coldseam.LimitFloodStage:  "minor flood stage less " + w.f.quantity("below_m", coldseam.MetrePerFoot),
		coldseam.LimitAnnualFlood: "the greatest day that two years in three reach, " + strconv.Itoa(c.Years) +
			" years",
		coldseam.LimitSpringP95: "95th percentile of spring days, short record",
		coldseam.LimitMeanSpeed: "mean speed of " + w.f.speed(1.2) + " by " + strconv.Itoa(c.Rows) + " gaugings",
		coldseam.LimitMultiple:  "13 times the usual flow, no gaugings",
	}[c.Source]
	if c.Outside {
		words += ", beyond the rating"
	}
	return words
}

// LimitMeans says what a proposed limit is on the river: stage, depth and speed
// at the gauge, and the days that it would have stopped.
func (w Words) LimitMeans(c coldseam.FlowCandidate) string {
	var out []string
	if c.StageM != nil {
		out = append(out, "stage "+w.f.quantity("stage_m", *c.StageM))
	}
	if c.DepthM > 0 {
		out = append(out, w.f.quantity("depth_m", c.DepthM)+" deep")
	}
	if c.VelocityMS > 0 {
		out = append(out, w.f.speed(c.VelocityMS))
	}

	var days []string
	for _, s := range c.Springs {
		days = append(days, strconv.Itoa(s.Year)+": "+strconv.Itoa(s.Stopped))
	}
	if len(days) > 0 {
		out = append(out, "days stopped in spring "+strings.Join(days, ", "))
	}
	return strings.Join(out, "; ")
}

// LimitInForce lists the limits of a reach, one line a craft.
func (w Words) LimitInForce(l coldseam.FlowLimits) []string {
	if l.MaxFlowM3S == 0 {
		return []string{"none"}
	}
	line := func(flow float64, c coldseam.Craft, note, why string) string {
		s := w.Flow(flow) + " for " + Craft(c) + note
		if why = clean(why); why != "" {
			s += ": " + why
		}
		return s
	}

	note := ""
	if l.Proposed {
		note = ", proposed, not confirmed"
	}
	out := []string{line(l.MaxFlowM3S, coldseam.CraftBoat, note, l.Why)}
	for _, c := range l.Crafts {
		out = append(out, line(c.MaxFlowM3S, c.Craft, "", c.Why))
	}
	return out
}

// speed writes the speed of water.
func (f format) speed(ms float64) string {
	if f.metric {
		return trimmed(ms, 1) + nbsp + "m/s"
	}
	return trimmed(coldseam.Feet(ms), 1) + nbsp + "ft/s"
}
