package notify

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Nothing that stops, is missing or caps is told to people as its code.
func TestCodesHaveNames(t *testing.T) {
	t.Parallel()
	notes := map[string]bool{} // never counted: notes beside an input, changes, odds and what to watch
	for _, code := range strings.Fields(`action_stage agency_flow alert_other alert_unplaced changed changed_today dark
		drift eggs fast_fall flood_watch flow_high fog holes_emptying holes_filling holes_steady ice_open_dates_over
		ice_open_thaw ice_open_warm_water ice_open_word ice_open_summer life_jacket life_jacket_unknown newer_failed
		odds odds_few_trips odds_kept odds_level odds_level_own odds_own odds_rate odds_trips other_window rain_upstream
		rank rank_kept replay_odds replay_rank season_open season_closed sure_log sure_rule_of_thumb sure_spot thunder_possible
		told_hours trips_week turbid turbid_said water_carried water_ends water_from_model water_neighbour water_offset
		water_readings water_winter`) {
		notes[code] = true
	}
	for code, sentence := range reasonWords {
		if strings.ContainsAny(sentence, "{[") && !notes[code] {
			_, ok := codeNames[code]
			assert.True(t, ok, code)
		}
	}
	require.Equal(t, "ice after a break-up", CodeName("ice_flow_rise"))
	require.Equal(t, "no flow reading from the gauge", CodeName("discharge_missing"))
	require.Equal(t, "deep bend holes", CodeName("bend_hole_deep"))
}
