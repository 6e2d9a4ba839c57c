package forecast

import (
	"example.org/coldseam"
	"example.org/coldseam/forecast/flowlimit"
)

// FlowCandidates are the proposals for the flow limit of a reach by what was
// known that morning, smallest first.
func FlowCandidates(f *Inputs) []coldseam.FlowCandidate {
	f.confirm()
	days := f.Days
	days.Lat = f.Reach.Lat
	return flowlimit.Propose(flowlimit.Input{
		Days:         days,
		Gaugings:     f.Gaugings,
		Rating:       f.Rating,
		Curve:        stageCurve(f),
		ActionStageM: f.Reach.ActionStage,
		FloodStageM:  f.Reach.FloodStageM,
	})
}

// flowLimits are the limits in force beside the candidates.
func flowLimits(f *Inputs) coldseam.FlowLimits {
	r := f.Reach
	out := coldseam.FlowLimits{
		Why:        r.MaxFlowWhy,
		Proposed:   r.MaxFlowProposed,
		Crafts:     r.CraftLimits,
		Candidates: FlowCandidates(f),
	}
	if r.MaxFlowM3S != nil {
		out.MaxFlowM3S = *r.MaxFlowM3S
	}
	return out
}
