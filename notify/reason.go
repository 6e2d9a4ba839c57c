package notify

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// reasonWords holds the sentence of each reason code. {name} stands for a value
// of the reason, written by the unit at the end of its name (see quantity), for
// one of its Names, or for a moment: {at} its time with the weekday, {clock}
// without, {since} its date, {from} the start of its window and {until} its end. {stop}
// is the sentence of the stop that it speaks of. [text|other] is text where the
// reason has all that it names, else other.
var reasonWords = map[string]string{
	// What stops: the gauge, the members, warnings, the weather, ice, the law.
	"flood_stage":         "stage {stage_m}; minor flood is {limit_m}",
	"flood_forecast":      "{flood_members} reach flood stage; the limit is {limit_of100}",
	"rise_stage":          "rose {rise_m} in 6 h; the limit is {limit_m}",
	"rise_flow":           "flow rose {rise_share} in 6 h; the limit is {limit_share}",
	"rise_forecast":       "{rise_members} have flow rising over {limit_share} in 6 h",
	"rise_forecast_stage": "{rise_members} have the river rising over {limit_m} in 6 h",
	"rise_day":            "flow rose {rise_share} in 24 h; the limit is {limit_share}",
	"rise_day_flashy":     "flow rose {rise_share} in 24 h; the limit on this flashy river is {limit_share}",
	"rise_day_cap":        "flow rose {rise_share} in 24 h, over {limit_share}",
	"rise_day_stage":      "rose {rise_m} in 24 h; the limit is {limit_m}",
	"rise_day_stage_cap":  "rose {rise_m} in 24 h, over {limit_m}",
	"rise_kept":           "rose to {peak_m3_s} by {at}; stop kept until it is below {until_m3_s}",
	"rise_kept_stage":     "rose to {peak_m} by {at}; stop kept until it is below {until_m}",
	"rise_falling":        "rose to [{peak_m3_s}|{peak_m}] by {at}; caution until it is below [{until_m3_s}|{until_m}]",
	"dam_cycle":           "flow has left the dam's usual daily cycle",
	"max_flow":            "flow {flow_m3_s}; the limit here is {limit_m3_s}",
	"max_flow_forecast":   "{over_members} take flow over {limit_m3_s}, the limit here",
	"flow_pct":            "flow {flow_m3_s}; over {date_of100} of 100 days at this date",
	"flow_pct_forecast":   "{over_members} take flow over {limit_m3_s}, the P{date_of100} of the date",
	"no_hold_high":        "no weight in the box holds and the river is high",
	"flood_alert":         alertWords,
	"ice_alert":           alertWords,
	"storm_alert":         alertWords,
	"dam_release":         alertWords,
	"thunder":             "thunder {thunder_share}[ from {clock}]; the limit is {limit_share}",
	"wind":                "wind {wind_mps}[; the limit is {limit_mps}]",
	"gust":                "gusts {gust_mps}; the limit is {limit_mps}",
	"wind_chill":          "wind chill {chill_c}[ at {run_mps} under way][; the limit is {limit_c}]",
	"freezing_spray":      "freezing spray: air {air_c}, wind {wind_mps}",
	"closed":              "[{rule}|closed on this date][: {link}]",

	// What is missing: NO CALL.
	"discharge_missing":      "no flow reading from the gauge",
	"discharge_failed":       "flow readings fail the quality check",
	"discharge_stale":        "gauge silent {age_h}; the limit is {limit_h}",
	"discharge_old":          "newest flow {age_h} old; GO needs one of {limit_h} at most",
	"stage_old":              "newest stage {age_h} old; GO needs one of {limit_h} at most",
	"stage_missing":          "no stage reading from the gauge",
	"stage_failed":           "stage readings fail the quality check",
	"stage_stale":            "gauge silent {age_h}; the limit is {limit_h}",
	"rise_unknown":           "one {quantity} reading in 6 h: a rise cannot be seen",
	"rise_forecast_missing":  "no forecast of a rise",
	"flow_forecast_missing":  "no flow forecast for the window",
	"alerts_missing":         "no warnings read",
	"alerts_failed":          "warnings carry a time in the future",
	"alerts_incomplete":      "warnings are not complete: {entry} [{why}|cannot be read]",
	"alerts_stale":           "warnings are {age_h} old; the limit is {limit_h}",
	"weather_missing":        "no weather forecast",
	"weather_failed":         "weather forecast carries a time in the future",
	"weather_stale":          "weather forecast is {age_h} old; the limit is {limit_h}",
	"weather_gap":            "weather forecast does not cover the window",
	"weather_coarse":         "the weather forecast comes in steps of {step_h}: too long for wind, gusts and thunder",
	"weather_no_air":         "the weather forecast has no air temperature for the window",
	"weather_no_wind":        "the weather forecast has no wind for the window",
	"weather_no_gust":        "the weather forecast has no gusts for the window",
	"weather_no_thunder":     "the weather forecast has no thunder for the window",
	"no_max_flow":            "no flow limit set and only {record_years} of record",
	"limit_invalid":          "the {quantity} of this reach is not a number",
	"stage_forecast_invalid": "the stage forecast is not a number",
	"season_unverified":      "season not verified",
	"water_missing":          "no water temperature",
	"water_failed":           "no water temperature",
	"water_stale":            "no water temperature",
	"water_untrusted":        "water temperature not trusted",
	"water_forecast_missing": "no water temperature forecast for the window",
	"forecast_failed":        "forecast failed: {error}",
	"odds_missing":           "no odds could be made",
	"odds_missing_hours":     "no odds could be made for your hours",
	"no_hours":               "no forecast for your hours {hours}",
	"no_window":              "no fishing window left today",
	"window_past":            "the window is over",
	"replay":                 "a past morning from revised data[; stops not replayed: {inputs}]",
	"brief_missing":          "the forecast of this morning was not ready in time",

	// What holds a window at TOSS-UP, and the odds.
	"hazards_unsurveyed": "hazards not surveyed",
	"daily_gauge":        "the gauge reports once a day",
	"regulated":          "set by dam releases, no release plan read",
	"no_stage_forecast":  "no stage forecast: flood stage watched at the gauge only",
	"no_gust":            "the weather forecast has no gusts for the window",
	"no_thunder":         "the weather forecast has no thunder for the window",
	"water_model":        "water temperature from the model alone",
	"limit_unconfirmed":  "flow limit {limit_m3_s} is a proposal, not confirmed yet",
	"high_water":         "high water: {flow_m3_s}, the limit here is {limit_m3_s}",
	"craft_limit":        "{flow_m3_s}; the limit for {craft} is {limit_m3_s}",
	"craft_high_water":   "high water for {craft}: {flow_m3_s} of {limit_m3_s}",
	"craft_unconfirmed":  "no flow limit confirmed here for {craft}",
	"forecast_broken":    "the forecast of this river failed",
	"word_over":          "this word was good until {at}",
	"input_stale":        "{input}: {age_h} old; the limit is {limit_h}",
	"hours_missing":      "no forecast for the hours that were told",
	"told_hours":         "this is about the hours you were told, from {at}; the page below tells of the others",
	"hold_unknown":       "no sounding: no weight can be named",
	"hold_low":           "heaviest weight holds only {hold_odds}",
	"hold_low_box":       "heaviest weight in your box holds only {hold_odds}",
	"spread":             "forecasts disagree widely",
	"trips_week":         "{week_trips} logged this week",
	"odds":               "{good_odds} for a good morning; go from {go_odds}",
	"odds_kept":          "{good_odds} for a good morning; go from {go_odds}, odds kept from the last issue",

	// What to watch.
	"action_stage":        "stage {stage_m}, over action stage {limit_m}",
	"flow_high":           "high water: over the P{date_of100} of the date",
	"dark":                "launch before first light at {clock}",
	"drift":               "the river rose: logs and branches drift until a day after the peak",
	"turbid":              "muddy: {turbidity_fnu}, wood and rock are hidden",
	"turbid_said":         "muddy: under {sight_m} to see, wood and rock are hidden",
	"fast_fall":           "air falls {fall_k} within 12 h",
	"fog":                 "fog from {clock}",
	"fog_unknown":         "fog at the launch is not known",
	"thunder_possible":    "thunder {thunder_share} from {clock}",
	"ramp_ice":            "below freezing: ice on ramp and boat",
	"flood_watch":         alertWords,
	"alert_other":         alertWords,
	"alert_unplaced":      "[{event}|a warning]: where it holds is not known",
	"rain_upstream":       "rain upstream {rain_mm} within a day",
	"alone":               "alone in cold water: leave word where and when back",
	"life_jacket":         "Water {water_c}: wear the life jacket.",
	"life_jacket_unknown": "[Water not known since {since}|Cold water]: wear the life jacket.",
	"other_window":        "stop for the window from {from}: {stop}",

	"stop_kept":           "kept, gauge doubted since {at}: {doubt}",
	"stop_unsettled":      "failed reading may be a stop: {doubt}",
	"discharge_untrusted": "{quantity} not trusted since {at}: {doubt}",
	"stage_untrusted":     "{quantity} not trusted since {at}: {doubt}",
	"not_trusted":         "not trusted since {at}: {quantity} {doubt}",
	"gauge_unchanged":     "gauge unchanged since {at}",

	// What the odds rest on, what a replay would have said, what is new.
	"odds_uncalibrated": "uncalibrated",
	"odds_trips":        "from {log_trips}",
	"odds_few_trips":    "from {log_trips}, uncalibrated",
	"replay_odds":       "odds alone would have said {word}, {alone_in10} for a good morning ({rests_on})",
	"replay_no_odds":    "odds alone: none could be made",
	"changed":           "yesterday {was}",
	"changed_same":      "same as yesterday",
	"changed_today":     "{word} replaces {was} of {clock}",

	// Beside the inputs: what was made of them.
	"newer_failed":      "{newer} newer left out by the quality check",
	"agency_flow":       "with the agency's flow forecast of {at}",
	"rain_not_modelled": "rain is not modelled: high flows are taken to be likelier, not forecast",
	"season_open":       "open, checked {date}",
	"season_closed":     "closed, checked {date}",
	"season_unchecked":  "not verified",
	"water_model_alone": "model alone",
	"water_neighbour":   "from the neighbour gauge {gauge} and {by_readings}",
	"water_readings":    "from {by_readings} alone, no thermometer at a gauge",
	"water_offset":      "reach {offset_k} against the gauge by {by_readings}",

	// The run: the water of its season, and the holes against a usual peak.
	"water_carried":    "water temperature of {filled_days} carried forward",
	"water_from_model": "water temperature of {filled_days} from the model",
	"water_winter":     "water before {day} not measured, taken as winter water",
	"water_ends":       "water temperature missing from {day}: not known from there",
	"eggs":             "eggs lie in the gravel to about {day}: keep off it",
	"holes_empty":      "few run fish in the holes",
	"holes_steady":     "holes steady: {load_peak}",
	"holes_filling":    "holes filling: {load_peak}",
	"holes_emptying":   "holes emptying: {load_peak}",

	// Ice: what stops, what is not known, and open water since when and why.
	"ice_breakup_flow":         "ice is going out: flow up {flow_times} times since {since}",
	"ice_breakup":              "ice is going out since {since}",
	"ice_qualifier":            "ice since {since}: the agency marks it",
	"ice_word":                 "ice since {since}, reported from the river",
	"ice_cold_water":           "ice since {since}: water {limit_c} or colder",
	"ice_frost":                "ice since {since}: a long frost, no thermometer",
	"ice_flag_dates":           "ice since {since}, as in most years; no thermometer",
	"ice_flow_rise":            "ice still, after the rise before {since}",
	"ice_unknown_record_start": "ice not known: the record is too short or cold",
	"ice_unknown_water_silent": "ice not known: thermometer silent, told {since}",
	"ice_unknown_no_record":    "ice not known: nothing here measures it",
	"ice_open_warm_water":      "open water since {since}, two full days warm enough",
	"ice_open_thaw":            "open water since {since}, by thaw and calm flow",
	"ice_open_dates_over":      "open water since {since}, later than most years' ice",
	"ice_open_summer":          "open water since {since}, summer",
	"ice_open_word":            "open water by the admin's word, {since}",
	"ice_admin_open":           "open water by the admin's word of {at} alone",
	"ice_water_old":            "water temperature {age_h} old: a night can bring ice",
	"ice_unwatched":            "no thermometer, and no word from the admin yet that the ice is gone",
}

// jigWords are the sentences about the weight; a key ends in the reason's "case"
// where one code has several.
var jigWords = map[string]string{
	// Why no weight is named.
	"numeric":            "a number is not finite",
	"numeric_rig":        "no rig is set",
	"numeric_flow":       "a forecast flow is not above zero",
	"numeric_column":     "depth or speed is not finite",
	"stale_gauge":        "gauge is stale, until it reports",
	"ice":                "ice at the gauge, or not ruled out",
	"no_depth_unsounded": "no depth sounded here yet",
	"no_depth_zero":      "the sounded depth is not above zero",
	"no_depth_flow":      "no flow to carry the sounding to this morning",
	"no_depth_undated":   "the sounding has no stage or flow of its day",
	"no_depth_dry":       "the sounding puts this spot dry at that stage: check it",
	"sounding_old":       "sand bed, and high water since the sounding: sound it again",
	"no_speed":           "no gaugings and no float timing, current unknown",
	"floats":             "this body floats with every size carried",
	"out_of_range_most":  "most of the forecast lies outside the measured range",
	"too_fast":           "current {current_m_s}, too fast; none is advised from {limit_m_s}",
	"too_fast_ounce":     "an ounce or more would be needed here",
	"own_rig_unweighed":  "your rig was not weighed this morning: no weight of another rig stands in for it",
	"none_holds":         "no sane weight holds here",
	"none_holds_box":     "no weight in your box holds[; the heaviest, {heaviest_oz}, {heaviest_odds}]",
	"none_holds_no_size": "no size of this table in your box",
	"anchor":             "do not anchor: current {current_m_s}, the limit is {limit_m_s}",
	"anchor_debris":      "do not anchor: debris or ice is running",
	"anchor_high":        "do not anchor: flow above 9 in 10 days for the date",
	"wading_rising":      "do not wade: water is rising",
	"wading_undated":     "do not wade: depth has no dated sounding",
	"wading_deep":        "do not wade: {wade_m} deep, the limit is {limit_m}",
	"wading_fast":        "do not wade: current {current_m_s}, the limit is {limit_m_s}",
	"wading_product":     "do not wade: {wade_m} times {current_m_s} is {product_m2_s}, the limit is {limit_m2_s}",

	// What to know about the weight.
	"anchor_note":      "bow anchor only, on a release, never above a dam, pier or wood", // [common practice]
	"wading_note":      "these numbers cannot clear wading: look at the water first",
	"clamped":          "depth {water_m} is outside {low_m} to {limit_m}: computed at the limit",
	"clamped_speed":    "current {current_m_s} is above {limit_m_s}: computed at the limit",
	"stage_range":      "flow beyond the stage table: depth drawn on from its end",
	"out_of_range":     "flow outside the measured range of the gauge section",
	"uncalibrated":     "uncalibrated: start here, step up if you lose bottom",
	"pack_short":       "{heaviest_oz} is the heaviest and may not be enough",
	"not_monotone":     "weight does not rise steadily with flow here; the lowest crossing is used",
	"slow_sink":        "{size_oz} with this body hardly sinks: under {sink_m_s}",
	"no_water_temp":    "water temperature unknown: {taken_c} taken",
	"depth_by_flow":    "depth carried by flow, not by stage: too deep in holes on a rise",
	"default_geometry": "few gaugings: textbook change of speed with flow",
	"float_no_flow":    "floats timed, but the flow of that day is unknown: not used",
	"float_wind":       "floats were timed in wind: {wind}",
	"float_few":        "{timed_floats} timed, five make a timing",
	"drift_sensitive":  "boat as fast as the surface: [{same_oz}|over 1 oz]; at 3/4 of it: [{slower_oz}|over 1 oz]",
	"weight_from":      "{spot_depth_m} deep, {current_m_s} on top ({speed_by})",
	"line_lies":        "line {lie} ({angle_deg} off vertical), {line_out_m} out, bow {bow_cm}, slack {slack_cm}[; {line} bows, takes show late]",
	"bed_still":        "sand not moving at this flow; old dunes may remain",
	"bed_washed_out":   "sand washed flat at this flow",
	"cost":             "{gear}: {size_oz}",
	"cost_same":        "{gear}: same size",
	"cost_box":         "{gear}: nothing you carry holds",
	"cost_none":        "{gear}: nothing sane holds",
	"leader":           "10 lb, {leader_range}",
	"leader_snags":     "10-12 lb: snags",
	"leader_dragged":   "12 lb, thick-wire hook: dragged over snags",
	"bed_ripples":      "ripples, low dunes at most",
	"bed_dunes":        "dunes likely, {high_m} high, about {apart_m} apart",

	// What to measure next.
	"measure_sound_unsounded": "sound the depth at {spot} and note the day: no weight until then",
	"measure_sound_moved":     "sound {spot} again, the sand has moved: no weight until then",
	"measure_stage_must":      "find the stage or flow of the day {spot} was sounded: no weight until then",
	"measure_stage":           "find the stage of the day {spot} was sounded: {becomes}",
	"measure_flow":            "find the flow of the day the floats were timed at {spot}: {becomes}",
	"measure_float_must":      "time five floats at {spot}: no weight until then",
	"measure_float":           "time five floats at {spot}, or note a line angle: {becomes}",
	"measure_gaugings":        "import the gauge's field measurements: {becomes}",
	"measure_log":             "log held or lost at {spot}, {more} more with both: {becomes}",
}

// becomes says how a measurement narrows the sizes that may be needed: "1/4 or
// 3/8 oz becomes 1/4".
func becomes(before, after string) string {
	choice := func(sizes string) string {
		s := strings.Split(sizes, ",")
		if len(s) > 2 {
			return s[0] + " to " + s[len(s)-1]
		}
		return strings.Join(s, " or ")
	}
	b, a := choice(before), choice(after)
	if a == b {
		return b + nbsp + "oz either way, but surer"
	}
	return b + nbsp + "oz becomes " + a
}

// heightOfDunes is never finer than the two methods agree: whole feet or half
// metres.
func (f format) heightOfDunes(low, high float64) string {
	step, unit := 1., nbsp+"ft"
	if f.metric {
		step, unit = .5, nbsp+"m"
	} else {
		low, high = coldseam.Feet(low), coldseam.Feet(high)
	}
	a, b := math.Floor(low/step)*step, math.Ceil(high/step)*step
	switch {
	case b <= step:
		return "under " + trimmed(step, 1) + unit
	case a <= 0:
		return "up to " + trimmed(b, 1) + unit
	}
	return trimmed(a, 1) + enDash + trimmed(b, 1) + unit
}

const alertWords = "[{event}|warning without a name][ to {until}|, no end given]"

// runWords are the words of the codes in RunState.Why; briefs stored before hold
// the words themselves.
var runWords = map[string]string{
	"":           "no run clock at this time of year",
	"no_species": "no run clock for this species",
	"no_season":  "no run in this season",
	"no_clock":   "no clock for this run",
	"water_gap":  "run not known: no water temperature for days",
}

// dateWords are the words of the classes in Fact.Class of a flow.
var dateWords = map[string]string{
	"much below": "much below normal for the date", "below": "below normal for the date",
	"normal": "normal for the date",
	"above":  "above normal for the date", "much above": "much above normal for the date",
}

// placeWords is what a kind of spot tends to give [common practice].
var placeWords = map[coldseam.SpotKind]string{
	coldseam.SpotHole:    "fills and empties with the arrivals",
	coldseam.SpotSeam:    "feeds the hole below: fish on the move",
	coldseam.SpotSlack:   "fewer bites, larger females on average around the spawn",
	coldseam.SpotShallow: "fewer bites, larger females on average around the spawn",
	coldseam.SpotDunes:   "many average fish in the lee of the crests, little fished",
	coldseam.SpotMain:    "fish passing through",
}

// keyed words a key. What is none stands as it is: briefs stored before hold
// words in the place of keys.
func keyed(words map[string]string, key string) string {
	if w, ok := words[key]; ok {
		return w
	}
	return clean(key)
}

// keyWords are the words of keys, in a brief or among the Names of a reason; every
// other name is a foreign word and printed as it is.
var keyWords = map[string]string{
	"discharge": "flow", "stage": "stage", "water_temp": "water temperature", "weather": "weather forecast",
	"alerts": "warnings",
	"ice":    "ice state", "season_rule": "season rule", "max_flow": "flow limit", "flood_stage": "flood stage",
	"float": "timed by floats", "angle": "from the line angle", "kind": "by kind of spot, not timed",
	"given":   "as given",
	"warmest": "warmest water of the day", "rising_fast": "rising fast", "over_limit": "flow over the club limit",
	"over_craft_limit": "flow over the limit of your craft", "turbidity": "gauge turbidity", "member": "a member today",
	"bend_hole_deep": "deep bend holes", "hole_head": "hole heads", "hole_tail": "hole tails", "current_seam": "seams",
	"slack_pocket": "slack pockets",
	"bank_eddy":    "bank eddies", "sand_dune_field": "lee of the dunes", "rock_shallow": "shallow rock",
	"wood_shallow":    "shallow wood",
	"tailwater_apron": "tailwater apron", "tributary_mouth": "creek mouths",
	"minnow":      "salted or dead minnow when they refuse",
	"colour_loud": "loud: " + loudColours, "colour_pale": "pale: " + paleColours, "colour_either": loudColours +
		", or " + paleColours,
	"colour_by_clarity": "if stained, loud: " + loudColours + "; if clear, pale: " + paleColours,
	"braid-0.14":        "0.14 mm braid", "nylon-0.28": "0.28 mm nylon", "slim": "slim body", "bulky": "bulky body",
	"no_link": "has no link to its text", "unread": "did not load", "unreadable": "cannot be read",
	"too_deep": "lies under too many lists",
	"too_many": "comes after more than are read at once", "damaged_shape": "has a damaged outline",
	"exchanged_shape": "has an outline with exchanged coordinates",
	"wade":            "wading", "tube": "a float tube or kayak", "small_boat": "a small boat", "boat": "a boat",
}

const loudColours, paleColours = "chartreuse, orange or pink", "pearl, silver or grey"

var (
	placeholder = regexp.MustCompile(`\{[a-z0-9_]+\}`)
	either      = regexp.MustCompile(`\[([^]|]*)(?:\|([^]]*))?\]`)
	// furtherClauses of a sentence as it stands in reasonWords.
	furtherClauses = regexp.MustCompile(`\[?; .*$`)
	piece          = regexp.MustCompile(either.String() + "|" + placeholder.String())
)

// SetWording keeps the words of a brief's reasons as they are issued, for the
// season's record.
func SetWording(b *coldseam.Brief) {
	f := formatFor(coldseam.Preferences{}, b.Zone)
	b.OddsNote.Text = plain(f.words(b.OddsNote))
	for _, list := range []*[]coldseam.Reason{&b.Stops, &b.Reasons, &b.Cautions} {
		*list = slices.Clone(*list)
		for i, r := range *list {
			(*list)[i].Text = plain(f.reason(r))
		}
	}
}

// sentence words a reason for the reader's units. ok is false where the code
// has no sentence or the reason lacks one of its values.
func (f format) sentence(r coldseam.Reason) (text string, ok bool) {
	code := r.Code
	if why := r.Names["case"]; why != "" {
		code += "_" + why
	}
	words, ok := reasonWords[code]
	if !ok {
		if words, ok = jigWords[code]; !ok {
			return "", false
		}
	}

	if f.short {
		words = furtherClauses.ReplaceAllString(words, "")
	}
	return f.fill(words, r)
}

// fill puts the values of a reason into its words; ok is false when one lacks.
// A value is printed as it is: braces and brackets in foreign words mean nothing.
func (f format) fill(words string, r coldseam.Reason) (text string, ok bool) {
	ok = true
	text = piece.ReplaceAllStringFunc(words, func(m string) string {
		if part := either.FindStringSubmatch(m); part != nil {
			s, complete := f.fill(part[1], r)
			if !complete {
				s, _ = f.fill(part[2], r)
			}
			return s
		}
		s, found := f.value(m[1:len(m)-1], r)
		ok = ok && found
		return s
	})
	return text, ok
}

// value words one value of a reason.
func (f format) value(name string, r coldseam.Reason) (text string, ok bool) {
	moment := map[string]time.Time{"at": r.At, "clock": r.At, "since": r.At, "date": r.At, "from": r.From,
		"until": r.Until}
	if t, ok := moment[name]; ok {
		switch {
		case t.IsZero():
			return "", false
		case name == "clock" || name == "from":
			return f.clock(t), true
		case name == "since":
			return t.In(f.zone).Format("2 Jan"), true
		case name == "date":
			return t.In(f.zone).Format("2 January"), true
		}
		return t.In(f.zone).Format("Mon ") + f.clock(t), true
	}

	if s, ok := r.Names[name]; ok {
		switch name {
		case "stop", "rests_on":
			r.Code = s
			return f.reason(r), true
		case "becomes":
			return becomes(clean(r.Names["sizes"]), clean(s)), true
		case "quantity", "input", "inputs", "craft", "lie", "speed_by", "gear", "why":
			return keyList(s), true
		case "day":
			if d, err := coldseam.ParseDate(s); err == nil {
				return d.UTC().Format("2 January"), true
			}
		case "doubt":
			return strings.Replace(doubtWords[s], "{flag}", clean(r.Names["flag"]), 1), true
		}

		return clean(s), true
	}

	if name == "leader_range" {
		return f.leaderLength([2]float64{r.Values["short_m"], r.Values["long_m"]}), true
	}
	v, ok := r.Values[name]
	if !ok || f.noOdds && strings.HasSuffix(name, "_odds") {
		return "", false
	}
	if name == "high_m" {
		return f.heightOfDunes(r.Values["low_m"], v), true
	}
	return f.quantity(name, v), true
}

// keyList words one key or several, separated by commas.
func keyList(keys string) string {
	list := strings.Split(keys, ",")
	for i, k := range list {
		if w, ok := keyWords[k]; ok {
			list[i] = w
		} else {
			list[i] = strings.ReplaceAll(clean(k), "_", " ")
		}
	}
	return strings.Join(list, ", ")
}

// quantity writes an SI value by the unit that ends its name.
func (f format) quantity(name string, v float64) string {
	if !finite(v) {
		return unknown
	}

	us := !f.metric

	switch unit := name[strings.LastIndexByte(name, '_')+1:]; {
	case strings.HasSuffix(name, "m3_s"):
		return f.flow(v)
	case strings.HasSuffix(name, "m2_s") && us: // depth times current
		return trimmed(v/coldseam.MetrePerFoot/coldseam.MetrePerFoot, 1) + nbsp + "ft²/s"
	case strings.HasSuffix(name, "m2_s"):
		return trimmed(v, 2) + nbsp + "m²/s"
	case strings.HasSuffix(name, "m_s") && us: // a current
		return trimmed(coldseam.Feet(v), 1) + nbsp + "ft/s"
	case strings.HasSuffix(name, "m_s"):
		return trimmed(v, 2) + nbsp + "m/s"
	case name == "spot_depth_m" || name == "line_out_m":
		return f.depth(v)
	case name == "apart_m" && us: // of dunes, no finer than known
		return thousands(math.Round(coldseam.Feet(v)/10)*10) + nbsp + "ft"
	case name == "apart_m":
		return thousands(math.Round(v/5)*5) + nbsp + "m"
	case unit == "cm" && us && v < 2.54:
		return "under 1" + nbsp + "in"
	case unit == "cm" && us:
		return trimmed(v/2.54, 0) + nbsp + "in"
	case unit == "cm":
		return trimmed(v, 0) + nbsp + "cm"
	case unit == "deg":
		return trimmed(v, 0) + nbsp + "deg"
	case unit == "oz":
		return f.weight(v)
	case unit == "floats":
		return counted(v, "float")
	case unit == "m" && us:
		return trimmed(coldseam.Feet(v), 1) + nbsp + "ft"
	case unit == "m":
		return trimmed(v, 2) + nbsp + "m"
	case unit == "c":
		return f.temp(v)
	case name == "offset_k" && us: // of the reach against its gauge
		return signed(v*1.8) + nbsp + "°F"
	case name == "offset_k":
		return signed(v) + nbsp + "°C"
	case unit == "k" && us: // a difference of temperatures
		return trimmed(v*1.8, 0) + nbsp + "°F"
	case unit == "k":
		return trimmed(v, 1) + nbsp + "°C"
	case unit == "mps":
		return f.wind(v)
	case unit == "mm" && us:
		return trimmed(v/25.4, 1) + nbsp + "in"
	case unit == "mm":
		return trimmed(v, 0) + nbsp + "mm"
	case unit == "share":
		return percent(v) + "%"
	case unit == "of100":
		return percent(v)
	case unit == "members": // a share of the forecasts, never an odds
		return percent(v) + " of 100 forecasts"
	case unit == "odds", unit == "in10":
		return odds(v)
	case unit == "h":
		return age(v)
	case unit == "d":
		return trimmed(v, 0) + nbsp + "d"
	case unit == "trips" && v < .5:
		return "no trips"
	case unit == "trips":
		return counted(v, "trip")
	case unit == "years":
		return counted(v, "year")
	case unit == "days":
		return counted(v, "day")
	case unit == "readings" && v < .5:
		return "no member's reading"
	case unit == "readings" && v < 1.5:
		return "1 member's reading"
	case unit == "readings":
		return thousands(v) + " members' readings"
	case unit == "peak":
		return peakWords(v)
	case unit == "fnu":
		return trimmed(v, 0) + nbsp + "FNU"
	}

	return trimmed(v, 1)
}

// peakWords is a share of a usual season's peak in quarters [proposal].
func peakWords(share float64) string {
	switch {
	case share < .375:
		return "about a quarter of a usual peak"
	case share < .625:
		return "about half of a usual peak"
	case share < .875:
		return "about three quarters of a usual peak"
	case share < 1.2:
		return "about a usual peak"
	}
	return "above a usual peak"
}

// signed writes a difference with its sign, to a tenth.
func signed(v float64) string { return fmt.Sprintf("%+.1f", v) }

// age writes hours beside a limit, so fine that the two differ when they do.
func age(h float64) string {
	d := time.Duration(h * float64(time.Hour))
	if d >= 100*time.Minute && d < 10*time.Hour {
		return trimmed(h, 1) + nbsp + "h"
	}
	if d >= time.Hour && d < 90*time.Minute && d%time.Hour == 0 {
		return "1" + nbsp + "h"
	}
	return strings.Replace(hours(d), " ", nbsp, 1)
}

// counted writes a whole number with its noun.
func counted(v float64, noun string) string {
	if math.Round(v) == 1 {
		return "1 " + noun
	}
	return thousands(v) + " " + noun + "s"
}

// trimmed writes v with at most n decimals and no trailing zeros.
func trimmed(v float64, n int) string {
	s := strconv.FormatFloat(v, 'f', n, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}
