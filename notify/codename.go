package notify

import (
	"cmp"
	"strings"
)

// codeNames are short names of reasons whose sentence needs numbers: for counts,
// strips and lists where the numbers are not at hand.
var codeNames = map[string]string{
	"few_past":              "too few mornings of other years",
	"stage_forecast_stale":  "official stage forecast too old",
	"flood_stage":           "flood stage",
	"flood_stage_forecast":  "official flood forecast",
	"action_stage_forecast": "official forecast of high water",
	"flood_forecast":        "flood stage forecast",
	"rise":                  "rising fast",
	"rise_stage":            "rising fast",
	"rise_flow":             "rising fast",
	"rise_forecast":         "rise forecast",
	"rise_forecast_stage":   "rise forecast",
	"rise_forecast_cap":     "rise forecast, not to high water",
	"rise_day":              "rose within a day",
	"rise_day_flashy":       "rose within a day, flashy river",
	"rise_day_cap":          "rose within a day, not to high water",
	"rise_day_stage":        "rose within a day",
	"rise_day_stage_cap":    "rose within a day, not to high water",
	"rise_kept":             "not yet down from a rise",
	"rise_kept_stage":       "not yet down from a rise",
	"rise_falling":          "falling after a rise",
	"ramp_drowned":          "ramp under water",
	"dam_cycle":             "off the dam's cycle",
	"max_flow":              "over the flow limit",
	"max_flow_forecast":     "forecast over the flow limit",
	"flow_pct":              "very high for the date",
	"flow_pct_forecast":     "forecast very high for the date",
	"no_hold_high":          "no weight holds, high water",
	"bank_wood":             "wood running",
	"bank_launch":           "launch closed",
	"flood_alert":           "flood warning or watch",
	"ice_alert":             "ice warning",
	"storm_alert":           "storm warning",
	"dam_release":           "dam release announced",
	"thunder":               "thunder",
	"wind":                  "wind",
	"gust":                  "gusts",
	"wind_chill":            "wind chill",
	"freezing_spray":        "freezing spray",
	"closed":                "closed season",

	"ice_breakup":              "ice going out",
	"ice_breakup_flow":         "ice going out",
	"ice_qualifier":            "ice, by the agency's marks",
	"ice_word":                 "ice, reported from the river",
	"ice_cold_water":           "ice, by water temperature",
	"ice_frost":                "ice, by frost",
	"ice_flag_dates":           "ice, by the usual dates",
	"ice_flow_rise":            "ice after a break-up",
	"ice_flag":                 "gauge flagged for ice",
	"ice_switch":               "ice, the admin's word",
	"ice_likely":               "ice likely",
	"ice_unknown":              "ice not known",
	"ice_unknown_record_start": "ice not known",
	"ice_unknown_water_silent": "ice not known, thermometer silent",
	"ice_unknown_no_record":    "ice not known, nothing measures it",
	"ice_water_old":            "thermometer silent on a cold night",
	"ice_admin_open":           "open by the admin's word alone",

	"no_gauge":            "no gauge of flow",
	"gauge_silent":        "gauge silent",
	"discharge_stale":     "gauge silent",
	"stage_stale":         "gauge silent",
	"discharge_old":       "newest flow too old for GO",
	"stage_old":           "newest stage too old for GO",
	"discharge_untrusted": "flow not trusted",
	"stage_untrusted":     "stage not trusted",
	"not_trusted":         "not trusted",
	"stop_kept":           "stop kept, gauge doubted",
	"stop_unsettled":      "failed reading may be a stop",
	"gauge_unchanged":     "gauge stands still",
	"rise_unknown":        "too few readings to see a rise",
	"alerts_incomplete":   "warnings not complete",
	"alerts_missing":      "no warnings feed",
	"alerts_failed":       "warnings could not be read",
	"alerts_stale":        "warnings too old",
	"weather_stale":       "weather forecast too old",
	"weather_failed":      "weather forecast could not be read",
	"weather_coarse":      "weather forecast in long steps",
	"no_max_flow":         "no flow limit set",
	"limit_invalid":       "a limit is not a number",
	"season_unverified":   "season rule not checked within a year",
	"forecast_failed":     "forecast failed",
	"no_hours":            "no forecast for the hours asked",
	"input_stale":         "an input too old",
	"replay":              "a past morning",

	"limit_unconfirmed": "flow limit not confirmed",
	"high_water":        "high water",
	"craft_limit":       "over the limit of the craft",
	"craft_high_water":  "high water for the craft",
	"craft_unconfirmed": "no limit for the craft",
	"word_over":         "word out of date",
	"hold_low":          "heaviest weight hardly holds",
	"hold_low_box":      "heaviest weight in the box hardly holds",
}

// CodeName is a reason, an input or a kind of place named by its code alone, in
// few words.
func CodeName(code string) string {
	sentence := reasonWords[code]
	if strings.ContainsAny(sentence, "{[") {
		sentence = ""
	}
	return cmp.Or(codeNames[code], keyWords[code], sentence, strings.ReplaceAll(clean(code), "_", " "))
}
