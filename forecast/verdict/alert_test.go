package verdict

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestClassifyAlert(t *testing.T) {
	t.Parallel()

	for _, r := range []struct {
		name string
		a    coldseam.Alert
		want AlertClass
	}{
		{"flood warning", coldseam.Alert{Event: "Flood Warning", Severity: "Severe"}, AlertFlood},
		{"by code alone", coldseam.Alert{Event: "Crue", EventCodes: []string{"SAME=FLW"}}, AlertFlood},
		{"by VTEC", coldseam.Alert{Event: "x", EventCodes: []string{"VTEC=FL.W"}}, AlertFlood},
		{"code is heavier than words", coldseam.Alert{Event: "Flood Watch", EventCodes: []string{"SAME=FLW"}},
			AlertFlood},
		{"watch", coldseam.Alert{Event: "Flood Watch", Severity: "Severe"}, AlertWatch},
		{"flash flood watch", coldseam.Alert{Event: "Flash Flood Watch"}, AlertWatch},
		{"flash flood warning", coldseam.Alert{Event: "FLASH FLOOD WARNING"}, AlertStorm},
		{"severe thunderstorm, no word of warning", coldseam.Alert{Event: "SEVERE THUNDERSTORM"}, AlertStorm},
		{"tornado watch", coldseam.Alert{Event: "Tornado Watch"}, AlertWatch},
		{"only the headline tells", coldseam.Alert{Event: "Hydrology", Headline: "Flood Warning for the Tamsen"},
			AlertFlood},
		{"ice jam", coldseam.Alert{Event: "Hydrologic Outlook", Headline: "Ice jam possible"}, AlertIce},
		{"dam", coldseam.Alert{Event: "Dam release notice"}, AlertRelease},
		{"German", coldseam.Alert{Event: "Hochwasserwarnung"}, AlertFlood},
		{"other and severe", coldseam.Alert{Event: "Earthquake", Severity: "Severe"}, AlertUnknown},
		{"other, severity not stated", coldseam.Alert{Event: "Earthquake", Severity: "Unknown"}, AlertUnknown},
		{"other and minor", coldseam.Alert{Event: "Frost Advisory", Severity: "Minor"}, AlertMinor},
		{"dam failure", coldseam.Alert{Event: "Dam failure", Severity: "Moderate"}, AlertRelease},
		{"dams, other order", coldseam.Alert{Event: "FAILURE OF DAMS"}, AlertRelease},
		{"damage is no dam", coldseam.Alert{Event: "Wind damage warning", Severity: "Moderate"}, AlertMinor},
		{"high water", coldseam.Alert{Event: "High Water", Severity: "Severe"}, AlertFlood},
		{"waters high, moderate", coldseam.Alert{Event: "Waters high", Severity: "Moderate"}, AlertWatch},
		{"evacuation", coldseam.Alert{Event: "Evacuation order", Severity: "Minor"}, AlertFlood},
		{"ice jams", coldseam.Alert{Event: "Ice jams", Severity: "Minor"}, AlertIce},
		{"crue", coldseam.Alert{Event: "Crues", Severity: "Severe"}, AlertFlood},
		{"crue moderate", coldseam.Alert{Event: "Vigilance jaune: crues", Severity: "Moderate"}, AlertWatch},
		{"inondation, capitals", coldseam.Alert{Event: "AVERTISSEMENT D'INONDATION", Severity: "Moderate"}, AlertFlood},
		{"rupture de barrage", coldseam.Alert{Event: "Barrages : rupture", Severity: "Moderate"}, AlertRelease},
		{"orage violent", coldseam.Alert{Event: "Violents orages", Severity: "Moderate"}, AlertStorm},
		{"veille d'orage violent", coldseam.Alert{Event: "Veille d'orages violents", Severity: "Moderate"}, AlertWatch},
		{"embâcle", coldseam.Alert{Event: "Embâcle", Severity: "Minor"}, AlertIce},
		{"embâcle with a combining accent", coldseam.Alert{Event: "EMBA\u0302CLES", Severity: "Minor"}, AlertIce},
		{"évacuation", coldseam.Alert{Event: "Évacuation immédiate"}, AlertFlood},
		{"code in words", coldseam.Alert{Event: "x", EventCodes: []string{"profile:CAP-CP:Event:0.4=damOverflow"},
			Severity: "Moderate"}, AlertRelease},
		{"awareness type", coldseam.Alert{Event: "x", EventCodes: []string{"awareness_type=12"}, Severity: "Severe"},
			AlertFlood},
		{"other, severity missing, immediate", coldseam.Alert{Event: "Something", Urgency: "Immediate"}, AlertUnknown},
		{"other, moderate, immediate", coldseam.Alert{
			Event:     "Something",
			Severity:  "Moderate",
			Urgency:   "Immediate",
			Certainty: "Observed",
		}, AlertUnknown},
		{"other, extreme and there", coldseam.Alert{
			Event:     "Something",
			Severity:  "Extreme",
			Urgency:   "Immediate",
			Certainty: "Observed",
		}, AlertStorm},
		{"damaged and nameless", coldseam.Alert{Defects: []string{"event is missing"}}, AlertFlood},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, r.want, ClassifyAlert(r.a, nil))
		})
	}

	own := []AlertRule{{Provider: "vigie", Class: AlertFlood, Words: []string{"vigilance", "crue"}},
		{Provider: "vigie", Class: AlertNone, Words: []string{"canicule"}}}
	require.Equal(t, AlertFlood, ClassifyAlert(coldseam.Alert{Provider: "vigie", Event: "Vigilance orange CRUES"}, own))
	require.Equal(t, AlertNone, ClassifyAlert(coldseam.Alert{Provider: "vigie", Event: "Canicule", Severity: "Extreme"},
		own))
	require.Equal(t, AlertUnknown,
		ClassifyAlert(coldseam.Alert{Provider: "other", Event: "Canicule", Severity: "Extreme"}, own))
	_, err := ParseAlertClass("storms")
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	c, err := ParseAlertClass("dam_release")
	require.NoError(t, err)
	require.Equal(t, AlertRelease, c)
}

func TestAlertsThatDoNotCount(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*coldseam.Alert){
		"test":                func(a *coldseam.Alert) { a.Status = "Test" },
		"cancel":              func(a *coldseam.Alert) { a.MsgType = "Cancel" },
		"over":                func(a *coldseam.Alert) { a.End = at(6, 59) },
		"begins 6 h after":    func(a *coldseam.Alert) { a.From = at(16, 30) },
		"minor, other matter": func(a *coldseam.Alert) { a.Event, a.Severity = "Frost Advisory", "Minor" },
	} {
		in := good(.9)
		a := alert("Flood Warning", at(0, 0), at(18, 0))
		change(&a)
		in.Alerts.List = []coldseam.Alert{a}
		require.Equal(t, coldseam.Go, Decide(in).Verdict, name)
	}

	in := good(.9)
	a := alert("Flood Warning", at(0, 0), at(18, 0))
	a.Status = ""
	in.Alerts.List = []coldseam.Alert{a}
	d := Decide(in)
	require.Equal(t, coldseam.Stop, d.Verdict, "a status that is not stated counts")
	require.Equal(t, map[string]string{"event": "Flood Warning"}, d.Stops[0].Names)
	require.Equal(t, "Weather service", d.Stops[0].Source)
	require.True(t, d.Stops[0].Until.Equal(at(18, 0)))
}

// A warning whose outline is damaged leaves the feed incomplete: it caps GO at
// once, and there is no call when nobody has sent a sound one within the hour.
// One that is readable but tells no place of ours caps alone.
func TestDamagedWarningLeavesFeedIncomplete(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name, why, event string
		age              time.Duration
		want             coldseam.Verdict
		code             string
	}{
		{"just come", "damaged_shape", "Flood Warning", 10 * time.Minute, coldseam.TossUp, "alert_unplaced"},
		{"an hour old", "damaged_shape", "Flood Warning", 61 * time.Minute, coldseam.NoCall, "alerts_incomplete"},
		{"longitude first", "exchanged_shape", "Flood Warning", 61 * time.Minute, coldseam.NoCall, "alerts_incomplete"},
		{"no area at all", "no_area", "Flood Warning", 61 * time.Minute, coldseam.TossUp, "alert_unplaced"},
		{"codes of another kind", "foreign_code", "Flood Warning", 61 * time.Minute, coldseam.TossUp, "alert_unplaced"},
		{"of no danger", "damaged_shape", "Frost Advisory", 61 * time.Minute, coldseam.Go, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			in := good(.8)
			a := alert(c.event, at(0, 0), at(20, 0))
			if c.event == "Frost Advisory" {
				a.Severity = "Minor"
			}
			a.Unplaced, a.KnownAt, a.Headline = c.why, in.Now.Add(-c.age), c.event+" for the lower river"
			in.Alerts.List = []coldseam.Alert{a}
			d := Decide(in)
			require.Equal(t, c.want, d.Verdict, "%v", d.Reasons)

			if c.code != "" {
				i := slices.IndexFunc(d.Reasons, func(r coldseam.Reason) bool { return r.Code == c.code })
				require.GreaterOrEqual(t, i, 0, "%v", d.Reasons)
				if c.code == "alerts_incomplete" {
					require.Equal(t, a.Headline, d.Reasons[i].Names["entry"])
				}
			}
		})
	}
}
