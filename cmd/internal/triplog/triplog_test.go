package triplog

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/forecast/run"
)

var (
	logReaches = []coldseam.Reach{{ID: "tamsen-bend", Zone: "America/Chicago", Spots: []coldseam.Spot{{ID: "seam"}}}}
	logSpecies = Map{Species: []run.Species{{Key: "walleye", Name: "Walleye"}},
		Now: time.Date(2026, time.May, 2, 3, 0, 0, 0, time.UTC)} // still 1 May on the river
)

func TestTripLogReadsAPaperLog(t *testing.T) {
	t.Parallel()
	got, err := Read(strings.NewReader("Date,reach,start,hours,anglers,fish,spot,weight_oz,held,water_f,angler\n"+
		"2026-04-11,tamsen-bend,06:30,3.5,2,0,seam,3/8,no,41,heron\n2026-04-12,tamsen-bend,,,,,,,,,\n"), logReaches,
		Map{})
	require.NoError(t, err)
	require.Len(t, got, 2)
	a := got[0]
	require.Equal(t, 0.375, a.WeightOz)
	require.False(t, *a.Held)
	require.InDelta(t, 5, *a.WaterC, 1e-9)
	require.Equal(t, "2026-04-11T11:30:00Z", a.Start.UTC().Format("2006-01-02T15:04:05Z"))
	require.Zero(t, a.Fish)
	require.Nil(t, got[1].Held)
}

func TestTripLogRefusesWithLineAndReason(t *testing.T) {
	t.Parallel()

	for _, tc := range []struct{ name, text, want string }{
		{"empty", "", "no header line"},
		{"column", "date,reach,weather\n", `column "weather"; want some of`},
		{"reach", "date,reach\n2026-04-11,nowhere\n", `line 2: reach is "nowhere"; want the id of a reach`},
		{"date", "date,reach\n11.4.2026,tamsen-bend\n", `line 2: date is "11.4.2026"; want YYYY-MM-DD`},
		{"count", "date,reach,fish\n2026-04-11,tamsen-bend,1.5\n", `fish is "1.5"; want a whole number`},
		{"hours", "date,reach,hours\n2026-04-11,tamsen-bend,40\n", `hours is "40"; want a number from 0 to 24`},
		{"nan", "date,reach,hours\n2026-04-11,tamsen-bend,NaN\n", `hours is "NaN"`},
		{"weight", "date,reach,weight_oz\n2026-04-11,tamsen-bend,1/0\n", `weight_oz is "1/0"; want a size such as 1/4`},
		{"spot", "date,reach,spot\n2026-04-11,tamsen-bend,seem\n",
			`spot is "seem"; want blank or a spot of tamsen-bend: seam`},
		{"species", "date,reach,species\n2026-04-11,tamsen-bend,waleye\n",
			`species is "waleye"; want blank or one of walleye`},
		{"a day to come", "date,reach\n2026-05-02,tamsen-bend\n",
			`line 2: date is "2026-05-02"; want a day that has come, up to 2026-05-01`},
		{"released", "date,reach,fish,released\n2026-04-11,tamsen-bend,1,2\n",
			`released is "2"; want no more than the 1 fish landed`},
		{"looked at", "date,reach,fish,looked_at,ripe,spent\n2026-04-11,tamsen-bend,3,2,2,1\n",
			`looked_at is "2"; want at least the 2 ripe and 1 spent`},
		{"yes", "date,reach,held\n2026-04-11,tamsen-bend,perhaps\n", `held is "perhaps"; want yes or no`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			_, err := Read(strings.NewReader(tc.text), logReaches, logSpecies)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.Contains(t, err.Error(), tc.want)
		})
	}
}

func FuzzTripLog(f *testing.F) {
	f.Add("date,reach,fish\n2026-04-11,tamsen-bend,1\n")
	f.Add(democlub.Log[:400])
	f.Fuzz(func(t *testing.T, s string) {
		got, err := Read(strings.NewReader(s), logReaches, Map{})
		if err == nil {
			for _, x := range got {
				if x.Date.IsZero() || x.Hours < 0 || x.Fish < 0 {
					t.Fatalf("a bad row passed: %+v", x)
				}
			}
		}
	})
}

// TestTripLogWithAMap reads a club's own sheet: its headings, its names of
// rivers and its dates; what it does not name is refused, not guessed.
func TestTripLogWithAMap(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "map.toml")
	require.NoError(t, os.WriteFile(path,
		[]byte("date = \"1/2/2006\"\nignore = [\"Weather\"]\n[column]\n\"Date fished\" = \"date\"\nRiver = \"reach\"\nCaught = \"fish\"\n\"Water C\" = \"water_c\"\n[reach]\n\"the bend\" = \"tamsen-bend\"\n"), 0o600))
	m, err := ReadMap(path)
	require.NoError(t, err)
	got, err := Read(strings.NewReader(
		"Date fished,River,Caught,Weather,Water C,hours\n4/11/2026,the bend,2,rain,4.5,3\n"), logReaches, m)
	require.NoError(t, err)
	require.Len(t, got, 1)
	require.Equal(t, coldseam.ReachID("tamsen-bend"), got[0].Reach)
	require.Equal(t, "2026-04-11", got[0].Date.String())
	require.Equal(t, 2, got[0].Fish)
	require.InDelta(t, 4.5, *got[0].WaterC, 1e-9)
	require.InDelta(t, 3, got[0].Hours, 1e-9)

	for text, want := range map[string]string{
		"Date fished,River,Moon\n":                      `column "moon"`,
		"Date fished,River,Caught,fish\n":               `column "fish"`,
		"Date fished,River\n2026-04-11,the bend\n":      "a date such as 4/18/2026",
		"Date fished,River\n4/11/2026,the other bend\n": "the id of a reach",
	} {
		_, err := Read(strings.NewReader(text), logReaches, m)
		require.ErrorIs(t, err, coldseam.ErrInvalid)
		require.ErrorContains(t, err, want)
	}

	require.NoError(t, os.WriteFile(path, []byte("colunm = 1\n"), 0o600))
	_, err = ReadMap(path)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

// On the day the clock changes a trip starts when the wall said so, and the
// hours of daylight of a sounding are those of the wall.
func TestTripsOnADayOfAnotherLength(t *testing.T) {
	t.Parallel()
	for day, want := range map[string]string{"2026-03-08": "2026-03-08T11:30:00Z",
		"2026-11-01": "2026-11-01T12:30:00Z"} {
		got, err := Read(strings.NewReader("date,reach,start\n"+day+",tamsen-bend,6:30\n"), logReaches, Map{})
		require.NoError(t, err)
		require.Equal(t, want, got[0].Start.UTC().Format(time.RFC3339))
	}
}
