package doctor

import (
	"context"
	"fmt"

	"example.org/coldseam"
)

// floodLevels sets the agency's flood stage beside the admin's: the lower one
// stops, and the admin is told of the difference.
func (k *checker) floodLevels(ctx context.Context, r coldseam.Reach) {
	key := string(r.ID) + " official flood stage"
	if r.StageSite == "" {
		return
	}
	levels, err := k.app.Env.DB.FloodLevels(ctx, r.StageSite, k.now())
	if err != nil {
		k.broken(key, err)
		return
	}

	for _, l := range levels {
		if l.Param != coldseam.Stage || l.Kind != coldseam.FloodMinor {
			continue
		}
		says := fmt.Sprintf("the agency says %.2f ft", coldseam.Feet(l.Value))
		fix := fmt.Sprintf("flood_stage_ft = %.2f in the [[reach]], or leave it: the lower one stops", coldseam.Feet(l.Value))
		switch {
		case !l.Tells(r):
			k.add(key, LevelFail, says+fmt.Sprintf(" for gauge %q, the reach's is %s", l.Gauge, r.Site),
				"a point of the reach's own gauge: another has another zero", "stage_forecast of the [[reach]]")
		case r.FloodStageM == nil:
			k.add(key, levelWarn, says+", you say nothing", "the stage of minor flood", fix)
		case coldseam.Feet(*r.FloodStageM-l.Value) > .005 || coldseam.Feet(l.Value-*r.FloodStageM) > .005:
			k.add(key, levelWarn, says+fmt.Sprintf(", you say %.2f ft", coldseam.Feet(*r.FloodStageM)), "one of the two", fix)
		default:
			k.ok(key, "%s, as you do", says)
		}
		return
	}
	k.add(key, levelWarn, "the agency names none, or was not asked yet", "a flood stage",
		"coldseam fetch; some points have none")
}
