package simagency

import (
	"time"

	"example.org/coldseam"
)

// FaultKind is the kind of a planted fault in the data.
type FaultKind string

// The kinds.
const (
	FaultGap       FaultKind = "gap"       // no rows at all
	FaultSentinel  FaultKind = "sentinel"  // value -999999
	FaultDuplicate FaultKind = "duplicate" // the same row sent twice in one answer
	FaultSpike     FaultKind = "spike"     // one impossible value
	FaultStuck     FaultKind = "stuck"     // the same value over and over
	FaultRevision  FaultKind = "revision"  // 14 % too low until it is corrected
	FaultSilent    FaultKind = "silent"    // the gauge stopped
	FaultUnit      FaultKind = "unit"      // another unit than the rest of the feed
	FaultDailyGap  FaultKind = "daily_gap" // daily means missing
)

// Fault is one planted fault. From is included, To is not; a zero To is open.
type Fault struct {
	Site     coldseam.SiteID
	Param    coldseam.Parameter // empty = all
	Kind     FaultKind
	From, To time.Time
	Note     string
}

// Faults lists what is planted, with exact times. Days are relative to the
// anchor day and hours are local:
//
//	Tamsen water_temp   gap        day -11, 03:00 to 09:00
//	Tamsen discharge    sentinel   day -6, 14:00 and 14:15
//	Tamsen stage        duplicate  day -5, 10:00, 10:15 and 10:30
//	Tamsen water_temp   spike      day -4, 13:30, reads 31.0 degC
//	Tamsen discharge    revision   day -1, 06:00 to 08:00, see Revise
//	Hallam water_temp   unit       degF throughout
//	Hallam water_temp   stuck      day -13, 00:00, for 30 hours
//	Hallam water_temp   daily_gap  3 to 19 August, five years before
//	Brandt all          silent     from day -1, 20:45 on; see Revive
//
// Ice is no fault: then a discharge row has a null value and the qualifier
// ICE, and the daily mean is estimated.
func (w *World) Faults() []Fault {
	at := func(day, h, m int) time.Time {
		d := w.Anchor.Add(day)
		return time.Date(d.Year, d.Month, d.Day, h, m, 0, 0, w.zone).UTC()
	}
	aug := func(day int) time.Time {
		return coldseam.Date{Year: w.Anchor.Year - 5, Month: time.August, Day: day}.In(w.zone).UTC()
	}

	t, h, b := w.rivers[0].SiteID(), w.rivers[1].SiteID(), w.rivers[2].SiteID()
	return []Fault{
		{t, coldseam.WaterTemp, FaultGap, at(-11, 3, 0), at(-11, 9, 0), "no rows"},
		{t, coldseam.Discharge, FaultSentinel, at(-6, 14, 0), at(-6, 14, 30), "-999999"},
		{t, coldseam.Stage, FaultDuplicate, at(-5, 10, 0), at(-5, 10, 45), "sent twice"},
		{t, coldseam.WaterTemp, FaultSpike, at(-4, 13, 30), at(-4, 13, 45), "31.0"},
		{t, coldseam.Discharge, FaultRevision, at(-1, 6, 0), at(-1, 8, 0), "14 % too low until revised"},
		{h, coldseam.WaterTemp, FaultUnit, time.Time{}, time.Time{}, "degF"},
		{h, coldseam.WaterTemp, FaultStuck, at(-13, 0, 0), at(-12, 6, 0), "the value of its first row"},
		{h, coldseam.WaterTemp, FaultDailyGap, aug(3), aug(20), "no daily means"},
		{b, "", FaultSilent, at(-1, 20, 45), time.Time{}, "no rows"},
	}
}

// RevisedAt is when the late revision is published by the clock: ten minutes
// past the demo's morning, 04:40 local on the anchor day.
func (w *World) RevisedAt() time.Time {
	d := w.Anchor
	return time.Date(d.Year, d.Month, d.Day, 4, 40, 0, 0, w.zone).UTC()
}

func (f Fault) covers(site coldseam.SiteID, p coldseam.Parameter, t time.Time) bool {
	return f.Site == site && (f.Param == p || f.Param == "") && !t.Before(f.From) && (f.To.IsZero() || t.Before(f.To))
}

// silent reports whether no row exists at t.
func (a *Agency) silent(i int, p coldseam.Parameter, t time.Time) bool {
	for _, f := range a.faults {
		if f.Kind != FaultGap && f.Kind != FaultSilent || !f.covers(a.world.rivers[i].SiteID(), p, t) {
			continue
		}
		if f.Kind == FaultSilent && a.revived(i) {
			continue
		}
		return true
	}
	return false
}

func (a *Agency) silentDay(i int, p coldseam.Parameter, d coldseam.Date) bool {
	end := d.Add(1).In(a.world.zone).Add(-time.Second)
	for _, f := range a.faults {
		if f.Kind == FaultDailyGap && f.covers(a.world.rivers[i].SiteID(), p, end) {
			return true
		}
		// Air is read by another station: it does not fall silent with the gauge.
		if f.Kind == FaultSilent && p != coldseam.AirTemp && f.covers(a.world.rivers[i].SiteID(), p, end) &&
			!a.revived(i) {
			return true
		}
	}
	return false
}

// spoil applies the faults that change a value.
func (a *Agency) spoil(i int, p coldseam.Parameter, t time.Time, x *row) {
	for _, f := range a.faults {
		if !f.covers(a.world.rivers[i].SiteID(), p, t) {
			continue
		}

		switch f.Kind {
		case FaultSentinel:
			x.sentinel = true
		case FaultSpike:
			x.si = 31
		case FaultStuck:
			if h, ok := a.world.recs[i].at(f.From); ok {
				x.si = h.waterC
			}
		case FaultRevision:
			if at, done := a.revision(); done {
				x.modified = at
			} else {
				x.si *= 0.86
			}
		}
	}
}

// doubled reports whether the row at t is sent twice.
func (a *Agency) doubled(i int, p coldseam.Parameter, t time.Time) bool {
	for _, f := range a.faults {
		if f.Kind == FaultDuplicate && f.covers(a.world.rivers[i].SiteID(), p, t) {
			return true
		}
	}
	return false
}
