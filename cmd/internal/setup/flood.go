package setup

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/ingest"
)

// floodPoint asks the services of official flood stages for the gauge, by its own
// code, and proposes what one says of this very gauge: a point of another has
// another zero. No answer proposes nothing.
func (c *siteAddCmd) floodPoint(ctx context.Context, w io.Writer, a *parts.Parts, r *coldseam.Reach) {
	code := c.Code[strings.LastIndexByte(c.Code, '-')+1:] // without the agency's own prefix
	for _, p := range a.Env.Config.Profiles {
		if _, ok := p.Endpoints["flood_levels"]; !ok {
			continue
		}
		seen, err := a.Feeds.Ask(ctx, p, ingest.Request{Endpoint: "flood_levels", Sites: []string{code}, Force: true})
		if err != nil {
			fmt.Fprintf(w, "\nNo official flood stages of %s: %v\n", p.Name, err)
			continue
		}
		for _, l := range seen.Floods {
			if l.Param != coldseam.Stage || !l.Tells(*r) {
				continue
			}
			switch value := l.Value; l.Kind {
			case coldseam.FloodMinor:
				r.FloodStageM = &value
			case coldseam.FloodAction:
				r.ActionStage = &value
			}
			r.StageSite, c.flood = p.SiteID(code), p
		}
		if r.StageSite != "" {
			fmt.Fprintf(w, "\nOfficial flood stages of %s are proposed below.\n", p.Name)
			return
		}
	}
}

// floodLines are the lines of a reach on its flood stages, with their source.
func (c *siteAddCmd) floodLines(r coldseam.Reach, now time.Time) string {
	var b strings.Builder
	if r.StageSite != "" {
		fmt.Fprintf(&b, "stage_forecast = %q # stages and stage forecasts of the agency; while they cannot be read NO CALL\n",
			r.StageSite)
	}
	for _, x := range []struct {
		key, what string
		m         *float64
	}{{"flood_stage_ft", "minor flood", r.FloodStageM}, {"action_stage_ft", "action stage", r.ActionStage}} {
		if x.m == nil {
			fmt.Fprintf(&b, "#%s = 0.0           # %s, from the agency's flood page\n", x.key, x.what)
			continue
		}
		fmt.Fprintf(&b, "%s = %.2f          # PROPOSED: %s by %s, asked %s; the lower of the agency's and yours stops\n",
			x.key, coldseam.Feet(*x.m), x.what, c.flood.Name, now.Format(time.DateOnly))
	}
	b.WriteString("#gauge_code = \"\"               # as in official flood warnings\n#alert_zones = []")
	return b.String()
}
