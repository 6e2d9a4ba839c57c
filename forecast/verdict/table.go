package verdict

import (
	"fmt"
	"math"
	"strings"

	"example.org/coldseam"
)

// Table holds every limit of the decision in the unit its name carries. Start
// from DefaultTable and change rows with Set, which keeps the club from
// loosening a stop without a written reason.
type Table struct {
	FloodShare   float64 // share of members that reach minor flood in the window + after hours
	AfterH       float64 // hours after the window that the stops look ahead
	IceWaterF    float64
	Thunder      float64 // probability
	LaunchH      float64 // from the launch to the window
	AshoreH      float64 // from the end of the window until all are ashore
	WindMPH      float64
	GustMPH      float64
	ChillF       float64
	SprayAirF    float64
	SprayWindMPH float64
	RunMPH       float64 // boat's run speed for the wind chill; 0 = bank or drifting
	RiseFt       float64 // in 6 h
	RiseShare    float64 // fraction of flow in 6 h
	MemberShare  float64 // share of members for stops 5 and 6
	FlowStopPct  float64 // percentile for the date that stops
	NoHoldPct    float64 // percentile above which "no weight holds" stops

	GaugeAgeH   float64
	GoAgeH      float64
	AlertAgeH   float64
	WeatherAgeH float64
	WaterAgeD   float64
	RuleAgeD    float64
	StopAgeH    float64 // a gauge value up to this age can still stop
	MinYears    float64

	Cost       float64
	Margin     float64 // GO from cost + margin; TOSS-UP within it
	Hysteresis float64 // odds that move less keep their printed tenth within a day
	SpreadCap  float64
	HoldCap    float64

	CautionThunder float64
	CapThunder     float64
	CautionWindMPH float64
	CautionChillF  float64
	TurbidityFNU   float64
	FallF          float64 // fast fall of air temperature, F in 12 h
	RainIn         float64 // upstream, caps the verdict
	FogM           float64 // visibility
	ColdWaterF     float64
	CautionFlowPct float64

	AllowNoThunder float64 // 1 = a forecast without thunder odds caps instead of NO CALL
	AllowNoGust    float64

	Reasons map[string]string // key -> the admin's written reason for a looser value
}

// Threshold describes one row of the table.
type Threshold struct {
	Key, Name, Unit string
	Default         float64
	Tighter         int // -1 lower is stricter, +1 higher is stricter, 0 neither
	Min, Max        float64
	Source          string
	at              func(*Table) *float64
}

// Thresholds is the documented table: every limit with its unit, default,
// stricter direction and source.
func Thresholds() []Threshold {
	const prop = "[proposal]"
	row := func(key, name, unit string, def float64, tighter int, lo, hi float64, src string,
		at func(*Table) *float64) Threshold {
		return Threshold{key, name, unit, def, tighter, lo, hi, src, at}
	}

	return []Threshold{
		row("flood_share", "members that reach minor flood", "1", .20, -1, .01, 1,
			"categories [source: NWSM 10-950]; share "+prop, func(t *Table) *float64 { return &t.FloodShare }),
		row("after_h", "look ahead after the window", "h", 6, 1, 0, 24, prop,
			func(t *Table) *float64 { return &t.AfterH }),
		row("ice_water_f", "water that closes a reach for ice; not below .56 C", "F", 33, 1, 32, 40, prop,
			func(t *Table) *float64 { return &t.IceWaterF }),
		row("thunder", "thunder on the water, stop", "1", .30, -1, .02, .9,
			prop+"; leave at first thunder, wait 30 min [source: NWS]", func(t *Table) *float64 { return &t.Thunder }),
		row("launch_h", "from the launch to the window, judged with it", "h", .75, 1, 0, 3, prop,
			func(t *Table) *float64 { return &t.LaunchH }),
		row("ashore_h", "to get off the water after the window, judged with it", "h", 2, 1, 0, 6, prop,
			func(t *Table) *float64 { return &t.AshoreH }),
		row("wind_mph", "sustained wind", "mph", 25, -1, 5, 50, prop, func(t *Table) *float64 { return &t.WindMPH }),
		row("gust_mph", "gust", "mph", 35, -1, 5, 70, prop, func(t *Table) *float64 { return &t.GustMPH }),
		row("chill_f", "wind chill", "F", 0, 1, -18, 40,
			prop+"; frostbite in 30 min at -18 F [source: NWS chart] is the outer bound",
			func(t *Table) *float64 { return &t.ChillF }),
		row("spray_air_f", "freezing spray: air", "F", 28, 1, 15, 32, prop,
			func(t *Table) *float64 { return &t.SprayAirF }),
		row("spray_wind_mph", "freezing spray: wind", "mph", 15, -1, 5, 40, prop,
			func(t *Table) *float64 { return &t.SprayWindMPH }),
		row("run_mph", "boat's run speed for the wind chill; 0 on the bank", "mph", 20, 1, 0, 60, prop,
			func(t *Table) *float64 { return &t.RunMPH }),
		row("rise_ft", "rise in 6 h", "ft", 1, -1, .1, 5, prop, func(t *Table) *float64 { return &t.RiseFt }),
		row("rise_share", "rise of flow in 6 h", "1", .30, -1, .05, 2, prop,
			func(t *Table) *float64 { return &t.RiseShare }),
		row("member_share", "members that rise or pass the flow limit", "1", .20, -1, .01, 1, prop,
			func(t *Table) *float64 { return &t.MemberShare }),
		row("flow_stop_pct", "flow percentile for the date", "1", .99, -1, .5, 1, prop,
			func(t *Table) *float64 { return &t.FlowStopPct }),
		row("no_hold_pct", "flow percentile with no weight that holds", "1", .95, -1, .3, 1, prop,
			func(t *Table) *float64 { return &t.NoHoldPct }),
		row("gauge_age_h", "greatest age of flow and stage", "h", 6, -1, .5, 48, prop,
			func(t *Table) *float64 { return &t.GaugeAgeH }),
		row("go_age_h", "greatest age of flow and stage for a GO", "h", 2, -1, .5, 6, prop,
			func(t *Table) *float64 { return &t.GoAgeH }),
		row("alert_age_h", "greatest age of the warning feed", "h", 1, -1, .1, 12, prop,
			func(t *Table) *float64 { return &t.AlertAgeH }),
		row("weather_age_h", "greatest age of the weather issue", "h", 12, -1, 1, 36, prop,
			func(t *Table) *float64 { return &t.WeatherAgeH }),
		row("water_age_d", "greatest age of a measured water temperature", "d", 5, -1, .25, 10, prop,
			func(t *Table) *float64 { return &t.WaterAgeD }),
		row("rule_age_d", "greatest age of a checked rule", "d", 365, -1, 1, 730, prop,
			func(t *Table) *float64 { return &t.RuleAgeD }),
		row("stop_age_h", "age up to which an old reading still stops", "h", 24, 1, 6, 168, prop,
			func(t *Table) *float64 { return &t.StopAgeH }),
		row("min_years", "years of record for a percentile", "a", 10, 1, 5, 100,
			prop+"; official maps need 30 [source: USGS]", func(t *Table) *float64 { return &t.MinYears }),
		row("cost", "wasted trip against a good one", "1", coldseam.DefaultCost, 1, .2, .7, prop,
			func(t *Table) *float64 { return &t.Cost }),
		row("margin", "GO from cost + margin, STAY below cost - margin, in whole tenths as printed", "1",
			coldseam.DefaultMargin, 1, .02, .3, prop, func(t *Table) *float64 { return &t.Margin }),
		row("hysteresis", "move of the odds that changes no printed tenth between issues of one day", "1", .03, -1, 0,
			.1, prop, func(t *Table) *float64 { return &t.Hysteresis }),
		row("spread_cap", "members' p10-p90 spread that caps", "1", .50, -1, .1, 1, prop,
			func(t *Table) *float64 { return &t.SpreadCap }),
		row("hold_cap", "odds that the heaviest weight holds, below which it caps", "1", .50, 1, .1, .99, prop,
			func(t *Table) *float64 { return &t.HoldCap }),
		row("caution_thunder", "thunder on the water, caution", "1", .10, -1, .02, .9, prop,
			func(t *Table) *float64 { return &t.CautionThunder }),
		row("cap_thunder", "thunder on the water, caps", "1", .20, -1, .02, .9, prop,
			func(t *Table) *float64 { return &t.CapThunder }),
		row("caution_wind_mph", "wind, caution", "mph", 15, -1, 3, 40, prop,
			func(t *Table) *float64 { return &t.CautionWindMPH }),
		row("caution_chill_f", "wind chill, caution", "F", 25, 1, 0, 50, prop,
			func(t *Table) *float64 { return &t.CautionChillF }),
		row("turbidity_fnu", "turbidity, caution", "FNU", 50, -1, 5, 500, prop,
			func(t *Table) *float64 { return &t.TurbidityFNU }),
		row("fall_f", "fall of air temperature in 12 h, caution", "F", 15, -1, 5, 40, prop,
			func(t *Table) *float64 { return &t.FallF }),
		row("rain_in", "rain upstream in the next day, caps", "in", .5, -1, .1, 3, prop,
			func(t *Table) *float64 { return &t.RainIn }),
		row("fog_m", "visibility from the launch on, caution", "m", 1000, 1, 100, 5000, prop,
			func(t *Table) *float64 { return &t.FogM }),
		row("cold_water_f", "life-jacket line", "F", 60, 1, 60, 80,
			"cold shock is at its worst at 50-60 F [source: explainer page]",
			func(t *Table) *float64 { return &t.ColdWaterF }),
		row("caution_flow_pct", "flow percentile, caution", "1", .90, -1, .5, 1, prop,
			func(t *Table) *float64 { return &t.CautionFlowPct }),
		row("allow_no_thunder", "1: a forecast without thunder odds caps at TOSS-UP instead of NO CALL", "", 0, -1, 0,
			1, prop, func(t *Table) *float64 { return &t.AllowNoThunder }),
		row("allow_no_gust", "1: a forecast without gusts caps at TOSS-UP instead of NO CALL", "", 0, -1, 0, 1, prop,
			func(t *Table) *float64 { return &t.AllowNoGust }),
	}
}

// DefaultTable is the table as shipped.
func DefaultTable() Table {
	t := Table{}
	for _, r := range Thresholds() {
		*r.at(&t) = r.Default
	}
	return t
}

// Set changes one limit. A stricter value is taken as it is, a looser one only
// with a written reason, which --why prints. ErrInvalid names what was found
// and wanted.
func (t *Table) Set(key string, v float64, reason string) error {
	var keys []string

	for _, r := range Thresholds() {
		keys = append(keys, r.Key)
		if r.Key != key {
			continue
		}
		if math.IsNaN(v) || v < r.Min || v > r.Max {
			return fmt.Errorf("threshold %s: %g, want %g to %g %s: %w", key, v, r.Min, r.Max, r.Unit,
				coldseam.ErrInvalid)
		}
		if float64(r.Tighter)*(v-r.Default) < 0 && strings.TrimSpace(reason) == "" {
			return fmt.Errorf("threshold %s: %g is looser than %g: give a written reason: %w", key, v, r.Default,
				coldseam.ErrInvalid)
		}

		*r.at(t) = v
		m := make(map[string]string, len(t.Reasons)+1) // a copy: tables are passed by value
		for k, w := range t.Reasons {
			m[k] = w
		}
		delete(m, key)
		if reason != "" {
			m[key] = reason
		}
		t.Reasons = m
		return nil
	}

	return fmt.Errorf("threshold %q: want one of %s: %w", key, strings.Join(keys, ", "), coldseam.ErrInvalid)
}

// Value returns the limit of a key, NaN for an unknown one.
func (t Table) Value(key string) float64 {
	for _, r := range Thresholds() {
		if r.Key == key {
			return *r.at(&t)
		}
	}
	return math.NaN()
}
