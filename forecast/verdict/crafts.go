package verdict

import (
	"cmp"
	"maps"
	"slices"

	"example.org/coldseam"
)

// highWaterShare of a flow limit caps at TOSS-UP [proposal].
const highWaterShare = .75

// limitCaps are the caps of a window by the limit of a boat: high water, and a
// limit that no person has confirmed.
func (in *Inputs) limitCaps(c Candidate) []coldseam.Reason {
	limit := in.Reach.MaxFlowM3S
	if limit == nil {
		return nil
	}
	var out []coldseam.Reason
	if in.Reach.MaxFlowProposed {
		out = append(out, because(KindCap, "limit_unconfirmed", clubRule, map[string]float64{"limit_m3_s": *limit}))
	}
	if flow, reached := in.reaches(c, highWaterShare**limit); reached {
		out = append(out, because(KindCap, "high_water", clubRule, map[string]float64{"flow_m3_s": flow,
			"limit_m3_s": *limit}))
	}
	return out
}

// reaches tells whether the flow measured, or enough of the members in the
// window and after it, reach a flow; flow is the greater of what was measured
// and the members' median.
func (in *Inputs) reaches(c Candidate, m3s float64) (flow float64, reached bool) {
	after := c.after()
	flow = coldseam.Quantile(after, .5)
	reached = shareAtLeast(after, m3s) >= in.Table.MemberShare
	if o, ok := newest(in.Gauge.Discharge); ok && in.recent(o) {
		reached = reached || o.Value >= m3s
		if !(flow > o.Value) {
			flow = o.Value
		}
	}
	return flow, reached
}

// after are the members' highest flows of the window and the hours after it.
func (c Candidate) after() []float64 {
	if c.AfterM3S != nil {
		return c.AfterM3S
	}
	return c.FlowM3S
}

// crafts judges a window by the limit of every craft that has a confirmed one of
// its own. The boat's is the ceiling and judged with everything else.
func (in *Inputs) crafts(c Candidate) map[coldseam.Craft]coldseam.CraftWord {
	var out map[coldseam.Craft]coldseam.CraftWord
	for _, l := range in.Reach.CraftLimits {
		w := coldseam.CraftWord{LimitM3S: l.MaxFlowM3S}
		values := func(flow float64) map[string]float64 {
			return map[string]float64{"flow_m3_s": flow, "limit_m3_s": l.MaxFlowM3S}
		}
		if flow, reached := in.reaches(c, l.MaxFlowM3S); reached {
			w.Stops = []coldseam.Reason{craftReason(KindSafety, "craft_limit", l.Craft, values(flow))}
		} else if flow, reached := in.reaches(c, highWaterShare*l.MaxFlowM3S); reached {
			w.Caps = []coldseam.Reason{craftReason(KindCap, "craft_high_water", l.Craft, values(flow))}
		}
		if out == nil {
			out = map[coldseam.Craft]coldseam.CraftWord{}
		}
		out[l.Craft] = w
	}
	return out
}

func craftReason(kind, code string, c coldseam.Craft, values map[string]float64) coldseam.Reason {
	r := because(kind, code, clubRule, values)
	r.Names = map[string]string{"craft": string(c)}
	return r
}

// ForCraft is a brief as it reads for one craft; "" stands for one that is not
// known and takes the strictest confirmed limit. It only adds stops and caps.
func ForCraft(b coldseam.Brief, craft coldseam.Craft) coldseam.Brief {
	b.Windows, b.Next = slices.Clone(b.Windows), slices.Clone(b.Next)
	limit := 0.0
	for i := range b.Windows {
		w := &b.Windows[i]
		word, ok := craftWord(w.Crafts, craft)
		switch {
		case ok:
			limit = word.LimitM3S
			w.Stops, w.Caps = merge(w.Stops, word.Stops), merge(w.Caps, word.Caps)
			if len(word.Stops) > 0 {
				w.Tie = ""
			}
		case craft != "" && craft != coldseam.CraftBoat:
			w.Caps = merge(w.Caps,
				[]coldseam.Reason{craftReason(KindCap, "craft_unconfirmed", craft, map[string]float64{})})
		}
	}

	for i := range b.Next {
		d := &b.Next[i]
		switch {
		case limit > 0 && d.FlowM3S[1] > limit:
			d.Verdict, d.OddsOK, d.Note = coldseam.Stop, false, "over_craft_limit"
		case limit == 0 && craft != "" && craft != coldseam.CraftBoat && d.Verdict == coldseam.Go:
			d.Verdict = coldseam.TossUp
		}
	}

	return b
}

// craftWord is what a window says to a craft, or to one that is not known.
func craftWord(words map[coldseam.Craft]coldseam.CraftWord, craft coldseam.Craft) (coldseam.CraftWord, bool) {
	if craft != "" || len(words) == 0 {
		w, ok := words[craft]
		return w, ok
	}
	strictest := slices.MinFunc(slices.Collect(maps.Values(words)), func(a, b coldseam.CraftWord) int {
		return cmp.Compare(a.LimitM3S, b.LimitM3S)
	})
	return strictest, true
}
