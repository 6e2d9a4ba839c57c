package simagency

import (
	"math"
	"strconv"
	"time"

	"example.org/coldseam"
)

// quantity is one of the measured things with its code in the US profile.
type quantity struct {
	code  string
	param coldseam.Parameter
	unit  string
	name  string
}

var (
	qDischarge = quantity{"00060", coldseam.Discharge, "ft^3/s", "Discharge"}
	qStage     = quantity{"00065", coldseam.Stage, "ft", "Gage height"}
	qWater     = quantity{"00010", coldseam.WaterTemp, "degC", "Temperature, water"}
	qAir       = quantity{"00020", coldseam.AirTemp, "degC", "Temperature, air"}
)

func instantQuantities() []quantity { return []quantity{qDischarge, qStage, qWater} }
func dailyQuantities() []quantity   { return []quantity{qDischarge, qWater, qAir} }

// row is one value as the agency holds it: SI inside, text on the wire.
type row struct {
	at       time.Time // instant, or midnight UTC of the civil day for a daily mean
	si       float64
	null     bool
	sentinel bool
	quals    []string
	approved bool
	modified time.Time
}

const (
	cadence = 15 * time.Minute
	lag     = 6 * time.Minute // from the reading to the web
)

// instant is the published row of one quantity at t; ok is false where there
// is none (gap, silence, not yet published).
func (a *Agency) instant(i int, q quantity, t time.Time) (row, bool) {
	w := a.world
	h, ok := w.recs[i].at(t)
	if !ok || a.silent(i, q.param, t) {
		return row{}, false
	}
	x := row{at: t, modified: t.Add(lag)}
	k := t.Unix() / int64(cadence.Seconds())

	switch q.param {
	case coldseam.Discharge:
		x.si = h.q * (1 + 0.006*w.noise(i, 1, k))
		if h.iceM > iceShown {
			x.null, x.quals = true, []string{"ICE"}
		}
	case coldseam.Stage:
		x.si = w.rivers[i].StageM(h.q) + 0.9*h.iceM + 0.003*w.noise(i, 2, k)
		if h.iceM > iceShown {
			x.quals = []string{"ICE"}
		}
	case coldseam.WaterTemp:
		x.si = math.Max(0, h.waterC+0.04*w.noise(i, 3, k))
	}

	a.spoil(i, q.param, t, &x)
	return x, true
}

// day is the published daily mean of civil day d.
func (a *Agency) day(i int, q quantity, d coldseam.Date) (row, bool) {
	w := a.world
	rec := &w.recs[i]
	k := d.Sub(rec.first)
	if k < 0 || k >= len(rec.flow) || a.silentDay(i, q.param, d) {
		return row{}, false
	}

	x := row{at: d.UTC(), modified: d.Add(1).In(w.zone).Add(75 * time.Minute)}
	switch q.param {
	case coldseam.Discharge:
		x.si = rec.flow[k] * (1 + 0.01*w.noise(i, 5, int64(k)))
		if rec.iceDay[k] {
			x.si *= 1 + 0.05*w.noise(i, 6, int64(k))
			x.quals = []string{"ESTIMATED", "ICE"}
		}
	case coldseam.WaterTemp:
		x.si = math.Max(0, rec.water[k]+0.03*w.noise(i, 7, int64(k)))
	case coldseam.AirTemp:
		x.si = rec.air[k] + 0.1*w.noise(i, 8, int64(k))
	}

	if w.Anchor.Sub(d) > 150 {
		x.approved = true
		x.modified = d.Add(120).In(w.zone).Add(15 * time.Hour)
	}

	return x, true
}

// text writes the value in the feed's unit with the digits a gauge has.
func (r *River) text(q quantity, x row) string {
	if x.sentinel {
		return "-999999"
	}
	v := x.si
	switch r.unit(q) {
	case "ft^3/s":
		return significant(coldseam.CFS(v))
	case "ft":
		return strconv.FormatFloat(coldseam.Feet(v), 'f', 2, 64)
	case "degF":
		return strconv.FormatFloat(coldseam.F(v), 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 1, 64)
}

// unit is the unit of a quantity in the GeoJSON of this river.
func (r *River) unit(q quantity) string {
	if q.param == coldseam.WaterTemp {
		return r.TempUnit
	}
	return q.unit
}

// significant writes three significant digits without an exponent.
func significant(v float64) string {
	if v == 0 {
		return "0"
	}
	p := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	if p <= 0 {
		f := math.Pow(10, float64(-p))
		return strconv.FormatFloat(math.Round(v/f)*f, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'f', p, 64)
}

// seriesID is the agency's id of a series, 32 hex digits, stable for ever.
func seriesID(r *River, q quantity, stat string) string {
	var h uint64 = 14695981039346656037
	for _, c := range []byte(r.Code + q.code + stat) {
		h = (h ^ uint64(c)) * 1099511628211
	}
	return hex16(mix64(h, 1)) + hex16(mix64(h, 2))
}

// featureID changes with every answer, as real ones do: nobody may build on it.
func featureID(n uint64) string {
	s := hex16(mix64(n, 3)) + hex16(mix64(n, 4))
	return s[:8] + "-" + s[8:12] + "-" + s[12:16] + "-" + s[16:20] + "-" + s[20:]
}

func hex16(v uint64) string {
	s := strconv.FormatUint(v, 16)
	return "0000000000000000"[len(s):] + s
}
