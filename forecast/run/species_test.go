package run

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestDefaultSpecies(t *testing.T) {
	t.Parallel()
	rows := DefaultSpecies()
	var keys []string
	for _, s := range rows {
		keys = append(keys, s.Key)
		require.Equal(t, s.Key == "walleye", s.Calibrated, "only walleye was tried on springs")
		require.Equal(t, s.Key == "lake_sturgeon", s.Advice == "none", "sturgeon for awareness only")
		for name, src := range s.Sources {
			require.True(t, marks[src.Mark], "%s %s", s.Key, name)
		}
	}
	require.Equal(t, []string{"walleye", "sauger", "northern_pike", "white_bass", "steelhead", "lake_sturgeon"}, keys)
	w := rows[0]
	require.Equal(t, [4]float64{4.4, 7, 9, 13}, w.Trap)
	require.InDelta(t, .45, w.femaleShare, 1e-12)
	require.Len(t, w.Cohorts, 5)
}

func TestSpeciesFileIsChecked(t *testing.T) {
	t.Parallel()

	for _, r := range []struct{ name, old, new, want string }{
		{"header", "species,field", "kind,field", "species file line 1: header"},
		{"number", "walleye,tb_c,2.27", "walleye,tb_c,two",
			`species file line 15: walleye tb_c: "two", want a number from 0 to 15`},
		{"range", "walleye,rho,0.62", "walleye,rho,1.2", `walleye rho: "1.2", want a number from 0 to 0.99`},
		{"mark", "walleye,tb_c,2.27,proposal", "walleye,tb_c,2.27,sure", `mark "sure", want seen`},
		{"unknown field", "walleye,tb_c", "walleye,tb", "unknown field, want one of name, calibrated"},
		{"twice", "walleye,tb_c,2.27", "walleye,tcap_c,2.27", "walleye tcap_c: given twice"},
		{"trapezoid", "4.4/7/9/13", "4.4/7/9", `"4.4/7/9", want four temperatures a/b/c/d`},
		{"falling trapezoid", "4.4/7/9/13", "4.4/7/6/13", "want four rising temperatures"},
		{"cohort", "males_early/male/0.29", "males_early/buck/0.29", "want name/male or female/share/theta/spread"},
		{"shares", "males_early/male/0.29", "males_early/male/0.39", "cohort shares sum to 1.1, want 1"},
		{"missing", "walleye,delta_sd,0.45,proposal,\n", "", "walleye: delta_sd is missing"},
		{"yes or no", "walleye,calibrated,yes", "walleye,calibrated,maybe", `"maybe", want yes or no`},
		{"caps", "walleye,tcap_c,7.2", "walleye,tcap_c,2", "tcap_c 2 is not above tb_c 2.27"},
		{"columns", "walleye,tb_c,2.27,proposal,", "walleye,tb_c,2.27,", "wrong number of fields"},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			text := strings.Replace(speciesCSV, r.old, r.new, 1)
			require.NotEqual(t, speciesCSV, text)
			_, err := ParseSpecies(strings.NewReader(text))
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, r.want)
		})
	}

	_, err := ParseSpecies(strings.NewReader(""))
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	_, err = FindSpecies(DefaultSpecies(), "carp")
	require.ErrorIs(t, err, coldseam.ErrNotFound)
}

func TestHighWaterIsAWall(t *testing.T) {
	t.Parallel()
	pct := func(_ coldseam.Date, q float64) float64 { return q / 100 }
	came := func(q float64) float64 {
		d := at45(95, twoWaves)
		d.FlowM3S = make([]float64, 95)
		for i := range d.FlowM3S {
			d.FlowM3S[i] = 50
			if i >= 84 {
				d.FlowM3S[i] = q
			}
		}
		got := quiet(t, d, ClockOptions{FlowPct: pct})
		return got[88].Arrived - got[83].Arrived
	}
	require.Less(t, came(99), .7*came(60), "days at P99 hold the fish back")
	none := quiet(t, at45(95, twoWaves), ClockOptions{FlowPct: pct})[88]
	require.Greater(t, none.Arrived, 0.1, "an unknown percentile is no wall")
}

func FuzzParseSpecies(f *testing.F) {
	f.Add(speciesCSV)
	f.Add("species,field,value,mark,source\nx,cohort,a/male/1/1/1,proposal,\n")
	f.Add("species,field,value,mark,source\n\"x\n")
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := ParseSpecies(strings.NewReader(text))
		if err != nil {
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.Nil(t, rows)
			return
		}
		for _, s := range rows {
			out, err := Clock(s, at45(40, func(int) float64 { return 5 }), ClockOptions{NoNoise: true})
			require.NoError(t, err)
			last := out[len(out)-1]
			require.True(t, last.Arrived >= 0 && last.Arrived <= 1+1e-9)
		}
	})
}
