package thermal_test

import (
	"fmt"
	"math"
	"os"
	"path"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/hindcast"
	"example.org/coldseam/forecast/thermal"
)

// TestSkill scores all public rivers, each by itself, in years and with
// prior.csv of rivers that its models never saw, and prints a table a group and
// air mode. It takes a quarter of an hour and runs on demand:
// COLDSEAM_SKILL=climatology,perfect.
func TestSkill(t *testing.T) {
	spec := os.Getenv("COLDSEAM_SKILL")
	if spec == "" {
		t.Skip("COLDSEAM_SKILL is not set: the table of all public rivers runs on demand")
	}
	airs := strings.Split(spec, ",")
	reports := map[string][]hindcast.Report{}

	for _, r := range thermal.Records(t) {
		r.Strange()
		fits := thermal.NewCache()
		for _, air := range airs {
			got, err := hindcast.Run(r.Days, hindcast.Options{
				Site:      r.File,
				Air:       hindcast.Air(air),
				Intervals: -1,
				NoDates:   true,
				Fits:      fits,
			})
			require.NoError(t, err)
			for _, g := range groupsOf(r.File, r.Days) {
				reports[air+g] = append(reports[air+g], got)
			}
		}
	}

	for _, air := range airs {
		for _, g := range skillGroups {
			for _, season := range []string{"all", "cold"} {
				printSkill(g, air, season, reports[air+g])
			}
		}
	}
}

// printSkill prints the mean over rivers, coverage over issues, and what is gained
// over each reference with its 90 % interval, by lead.
func printSkill(group, air, season string, of []hindcast.Report) {
	block := func(r hindcast.Report) hindcast.Block {
		if season == "all" {
			return r.All
		}
		return r.Cold
	}
	issues := 0
	for _, r := range of {
		issues += block(r).N
	}
	fmt.Printf("%s, %d rivers, air %s, season %s, %d issues, days", group, len(of), air, season, issues)
	leads := []int{1, 3, 5, 7, 10}

	crps, cover := "", ""
	for l, lead := range leads {
		c, v := 0., 0.
		for _, r := range of {
			if b := block(r); b.N > 0 {
				c += b.CRPS[hindcast.Coldseam][l] / float64(len(of))
				v += b.Coverage80[l] * float64(b.N) / float64(issues)
			}
		}
		fmt.Printf(" %d", lead)
		crps += fmt.Sprintf(" %.3f", c)
		cover += fmt.Sprintf(" %.3f", v)
	}

	fmt.Printf("\n  CRPS degC      %s\n  80 %% covers    %s\n", crps, cover)
	for _, m := range []string{hindcast.AnomalyAR, hindcast.Dressed, hindcast.ClimateDay} {
		fmt.Printf("  over %-11s", m)
		for l := range leads {
			iv := hindcast.Pooled(of, season, m, l, 500)
			fmt.Printf(" %.1f (%.1f..%.1f)", 100*iv.Skill, 100*iv.Lo, 100*iv.Hi)
		}
		fmt.Println()
	}
}

// skillGroups overlap.
var skillGroups = []string{"all", "alaska", "alaska_more", "greatlakes", "long", "short", "open winter"}

// groupsOf sorts a river by its folder, as long from 4.5 years of water on and
// else as short, and as of open winter where at most two thirds of its days from
// December to March are below 0.5 degC.
func groupsOf(file string, d coldseam.Days) []string {
	out := []string{"all", path.Dir(file), "long"}
	if ensemble.Span(d.WaterC) < 4.5 {
		out[2] = "short"
	}

	winter, cold := 0., 0.
	for i, v := range d.WaterC {
		if m := d.Day(i).Month; (m <= time.March || m == time.December) && !math.IsNaN(v) {
			winter++
			if v < .5 {
				cold++
			}
		}
	}
	if cold <= winter*2/3 {
		out = append(out, "open winter")
	}
	return out
}
