package forecast

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/forecast/verdict"
)

// rigs are more rigs than a small club has members.
func rigs() []coldseam.Preferences {
	var out []coldseam.Preferences
	for _, body := range append([]string{""}, jig.BodyNames()...) {
		for _, line := range []string{"", "braid-0.20", "nylon-0.30"} {
			for _, metal := range []string{"", "tungsten"} {
				for _, pres := range append([]string{""}, jig.PresentationNames()...) {
					out = append(out, coldseam.Preferences{Body: body, Line: line, Metal: metal, Presentation: pres})
				}
			}
		}
	}
	return out
}

// A rig that is weighed from a stored brief has, at every spot, the weights of a
// brief that was made for it.
func TestOwnRigHasTheWeightsOfABriefMadeForIt(t *testing.T) {
	t.Parallel()
	f := river()
	f.Reach.Spots = append(f.Reach.Spots, coldseam.Spot{ID: "hole", Name: "bend hole", Kind: coldseam.SpotHole,
		DepthRefM: ptr(7.0), Sounded: testDay.Add(-10), StageRefM: ptr(1.9), FlowRef: ptr(75.0)})
	drift, err := jig.ParseRig("bulky", "", "", "drift")
	require.NoError(t, err)
	f.RigLogs = map[string][]jig.Log{"seam": {{At: testNow.AddDate(0, 0, -3), Oz: 3. / 8, Rig: drift, Held: true,
		FlowM3S: 74}}}
	raw, err := json.Marshal(Make(f).Brief)
	require.NoError(t, err)
	var stored coldseam.Brief
	require.NoError(t, json.Unmarshal(raw, &stored))

	different := map[float64]bool{}
	for i, own := range rigs() {
		got, err := OwnJig(stored, stored.WindowI, own)
		require.NoError(t, err)
		require.Len(t, got, 2)
		different[got[0].MinOz] = true
		if i%45 == 0 {
			f.Prefs = own
			require.Equal(t, Make(f).Brief.Jig, got, "%+v", own)
		}
	}
	require.Greater(t, len(different), 20)
}

// Every window is weighed for its own flow.
func TestOwnRigIsWeighedInItsOwnWindow(t *testing.T) {
	t.Parallel()
	b := Make(river()).Brief
	var g rigModel
	require.NoError(t, json.Unmarshal(b.Weighing, &g))
	require.Len(t, g.Windows, len(b.Windows))
	last := len(g.Windows) - 1
	for i := range g.Windows[last].FlowM3S {
		g.Windows[last].FlowM3S[i] *= 1.5
	}
	var err error
	b.Weighing, err = json.Marshal(g)
	require.NoError(t, err)

	first, err := OwnJig(b, 0, coldseam.Preferences{Line: "nylon-0.30"})
	require.NoError(t, err)
	later, err := OwnJig(b, last, coldseam.Preferences{Line: "nylon-0.30"})
	require.NoError(t, err)
	require.Greater(t, later[0].MinOz, first[0].MinOz)
}

func TestOwnRigWithoutAnythingToWeighBy(t *testing.T) {
	t.Parallel()
	b := Make(river()).Brief
	for _, bad := range []struct {
		weighing string
		window   int
		own      coldseam.Preferences
		want     string
	}{
		{"", 0, coldseam.Preferences{}, "weights of the brief"},
		{`{"Windows":`, 0, coldseam.Preferences{}, "weights of the brief"},
		{string(b.Weighing), 99, coldseam.Preferences{}, "window 99, want one of"},
		{string(b.Weighing), -1, coldseam.Preferences{}, "window -1, want one of"},
		{string(b.Weighing), 0, coldseam.Preferences{Metal: "gold"}, "want lead or tungsten"},
	} {
		x := b
		x.Weighing = json.RawMessage(bad.weighing)
		_, err := OwnJig(x, bad.window, bad.own)
		require.ErrorIs(t, err, coldseam.ErrInvalid)
		require.ErrorContains(t, err, bad.want)
	}
}

// Members' float timings move the weights of a brief and no word, odds or cap of
// it, whether the weights are the club's or a member's own.
func TestTimingsMoveNoWordOfABrief(t *testing.T) {
	t.Parallel()
	plain := Make(river())
	for _, us := range []float64{.2, 1.1, 1.55} {
		f := river()
		f.Timings = map[string][]jig.Timing{}
		for range 10 {
			f.Timings["seam"] = append(f.Timings["seam"], jig.Timing{At: testNow.AddDate(0, 0, -2), SurfaceMS: us, FlowM3S: 74})
		}
		got := Make(f)
		for i := range got.Brief.Windows {
			got.Brief.Windows[i].Tie = plain.Brief.Windows[i].Tie
		}
		require.Equal(t, plain.Brief.Windows, got.Brief.Windows)
		require.Equal(t, plain.Brief.Verdict, got.Brief.Verdict)
		require.Equal(t, plain.Brief.HoldP, got.Brief.HoldP)
		require.Equal(t, plain.Brief.Reasons, got.Brief.Reasons)
		require.Equal(t, plain.Brief.Stops, got.Brief.Stops)

		own := coldseam.Preferences{Body: "bulky", BoxOz: []float64{.25, .5}}
		weigh := func(b coldseam.Brief) verdict.PersonalOptions {
			return verdict.PersonalOptions{Table: verdict.DefaultTable(), Weights: func(i int) []coldseam.SpotJig {
				spots, err := OwnJig(b, i, own)
				require.NoError(t, err)
				return spots
			}}
		}
		a, b := verdict.Personal(plain.Brief, own, weigh(plain.Brief)), verdict.Personal(got.Brief, own, weigh(got.Brief))
		require.Equal(t, a.Verdict, b.Verdict)
		require.Equal(t, a.HoldP, b.HoldP)
		require.Equal(t, a.Reasons, b.Reasons)
	}
}
