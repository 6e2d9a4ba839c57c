package ensemble

import "math"

// ClimateShare says which members of a short record's forecast leave the
// persistence path for the climatology: one in so many. Members that knew
// nothing of today's water cost a quarter of lead 1 on records of three years;
// with the fade no lead loses [measured: hindcast on three-year cuts of the
// public Alaskan records].
type ClimateShare int

const (
	climateFade = 5. // days in which a climatological member forgets its start by 1/e [proposal]
	// One year is no climatology: last spring's level on this date says nothing.
	climateYears = 1.3
)

// Keep is the share of today's departure that member i still has at lead h in
// days after the reading it starts from, on a record of so many years.
func (s ClimateShare) Keep(i, h int, years float64) float64 {
	if years < climateYears || i%int(s) != int(s)-1 {
		return 1
	}
	return math.Exp(-float64(h) / climateFade)
}

// Weights are the shares of the persistence and the climatological members.
func (s ClimateShare) Weights(years float64) []float64 {
	if years < climateYears {
		return []float64{1, 0}
	}
	return []float64{1 - 1/float64(s), 1 / float64(s)}
}
