package verdict

import (
	"time"

	"example.org/coldseam"
)

// iceState is what is known of ice at Now.
type iceState struct {
	State string // open, ice, unknown
	At    time.Time
	Note  string
	stops []coldseam.Reason
}

// ice judges stop 2 and the ice input. Ice: any gauge series whose newest
// speaking row carries an ice flag, also a row without a value; the admin's
// switch; or nothing known with water at the limit and hard frost. Open: an
// unflagged value of the last day with water above the limit or no hard frost,
// or the admin's word.
func (in *Inputs) ice() iceState {
	limit := coldseam.C(in.Table.IceWaterF)
	water, haveWater := newest(in.Gauge.Water)
	haveWater = haveWater && in.Now.Sub(water.At) <= hours(in.Table.IceAgeH)
	frost := in.Weather.AirMaxC != nil && *in.Weather.AirMaxC < 0
	if in.Reach.IceSwitch {
		return iceState{State: "ice", At: in.Now, stops: []coldseam.Reason{because(KindSafety, "ice_switch", "club admin", nil)}}
	}
	var plain time.Time
	for _, s := range [][]coldseam.Observation{in.Gauge.Discharge, in.Gauge.Stage, in.Gauge.Water} {
		o, ok := spoken(s)
		if !ok {
			continue
		}
		if o.Flag&coldseam.Ice != 0 {
			r := because(KindSafety, "ice_flag", "gauge", nil)
			r.At = o.At
			return iceState{State: "ice", At: o.At, stops: []coldseam.Reason{r}}
		}
		if in.Now.Sub(o.At) <= hours(in.Table.IceAgeH) && o.At.After(plain) && o.Flag&coldseam.Missing == 0 {
			plain = o.At
		}
	}
	if said := in.Reach.IceOpenSaid; said != nil && in.Now.Sub(*said) <= hours(in.Table.IceAgeH) && !said.After(in.Now) {
		return iceState{State: "open", At: *said, Note: "the admin's word"}
	}
	warm := haveWater && water.Value > limit
	mild := in.Weather.AirMaxC != nil && !frost
	if !plain.IsZero() && (warm || mild) {
		return iceState{State: "open", At: plain}
	}
	if haveWater && water.Value <= limit && frost {
		return iceState{State: "ice", At: water.At, stops: []coldseam.Reason{because(KindSafety, "ice_likely", clubRule,
			map[string]float64{"water_c": water.Value, "frost_h": in.Table.IceAirH})}}
	}
	return iceState{State: "unknown", At: plain}
}
