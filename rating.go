package coldseam

import (
	"fmt"
	"math"
	"sort"
	"time"
)

// Gauging is one field measurement of a channel.
type Gauging struct {
	Site         SiteID
	At           time.Time
	DischargeM3S float64
	StageM       *float64
	WidthM       *float64
	AreaM2       *float64
	MeanVelMS    *float64
	Method       string // bridge, boat, cableway, wading, "" unknown
	Ice          bool
	Quality      string
}

// Rating turns stage into discharge by a table of measured or published pairs,
// interpolated in logarithms. It says where it ends.
type Rating struct {
	Site       SiteID
	From, To   time.Time // validity; zero To = open
	StageM     []float64 // strictly increasing
	Discharge  []float64 // m3/s, positive, strictly increasing
	StageZeroM float64   // stage of zero flow
}

// Check refuses a table that cannot be interpolated.
func (r Rating) Check() error {
	if len(r.StageM) < 2 || len(r.StageM) != len(r.Discharge) {
		return fmt.Errorf("rating %s: %d stages, %d discharges: %w", r.Site, len(r.StageM), len(r.Discharge),
			ErrInvalid)
	}
	for i := range r.StageM {
		if r.Discharge[i] <= 0 || r.StageM[i] <= r.StageZeroM || i > 0 && (r.StageM[i] <= r.StageM[i-1] ||
			r.Discharge[i] <= r.Discharge[i-1]) {
			return fmt.Errorf("rating %s: row %d is not increasing and positive: %w", r.Site, i, ErrInvalid)
		}
	}
	return nil
}

// At returns the discharge in m3/s for a stage in m, and whether the stage
// lies outside the table (the value is then extrapolated along the end slope).
func (r Rating) At(stageM float64) (q float64, outside bool) {
	n := len(r.StageM)
	outside = stageM < r.StageM[0] || stageM > r.StageM[n-1]
	h := stageM - r.StageZeroM
	if h <= 0 {
		return 0, true
	}
	i := sort.SearchFloat64s(r.StageM, stageM)
	i = min(max(i, 1), n-1)
	x0, x1 := math.Log(r.StageM[i-1]-r.StageZeroM), math.Log(r.StageM[i]-r.StageZeroM)
	y0, y1 := math.Log(r.Discharge[i-1]), math.Log(r.Discharge[i])
	return math.Exp(y0 + (y1-y0)*(math.Log(h)-x0)/(x1-x0)), outside
}
