package coldseam

import (
	"strings"
	"time"
)

// FloodLevel is a stage or flow at which an agency says that a river acts or
// floods.
type FloodLevel struct {
	Site    SiteID
	Kind    string // FloodAction ...
	Param   Parameter
	Value   float64   // in the SI unit of Param
	Gauge   string    // the gauge that it is told of, as the agency writes it; "" = not said
	KnownAt time.Time // since when it is known
}

// The kinds of flood level, from low to high.
const (
	FloodAction   = "action"
	FloodMinor    = "minor"
	FloodModerate = "moderate"
	FloodMajor    = "major"
)

// Tells reports whether a level is told of the reach's own gauge, whose code an
// agency may write with or without its own prefix ("USGS-").
func (l FloodLevel) Tells(r Reach) bool {
	_, code, _ := strings.Cut(string(r.Site), ":")
	return l.Gauge != "" && (code == l.Gauge || strings.HasSuffix(code, "-"+l.Gauge))
}

// WithFloodLevels lowers the flood stage, the action stage and the flow limit of
// a reach to what the agency says. A limit that only the agency knows counts, but
// for the flow: there a person must have set one. A stage counts where it is told
// of the reach's own gauge: another has another zero.
func (r Reach) WithFloodLevels(levels []FloodLevel) Reach {
	for _, l := range levels {
		lower := func(limit **float64) {
			if *limit == nil || l.Value < **limit {
				*limit = &l.Value
			}
		}
		switch {
		case l.Param == Stage && !l.Tells(r):
		case l.Param == Stage && l.Kind == FloodMinor:
			lower(&r.FloodStageM)
		case l.Param == Stage && l.Kind == FloodAction:
			lower(&r.ActionStage)
		case l.Param == Discharge && l.Kind == FloodMinor && r.MaxFlowM3S != nil:
			lower(&r.MaxFlowM3S)
		}
	}
	return r
}
