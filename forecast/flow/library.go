package flow

import (
	"encoding/json"
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

const (
	dressK    = 100 // similar issues [proposal]
	dressDays = 45
	dressDoy  = 30.
)

func sqrt(v float64) float64 { return math.Sqrt(max(v, 0)) }

// Library holds the out-of-fold errors by the state they were made in.
type Library struct {
	Day   []int32         `json:"day"`   // days since 1970-01-01
	State ensemble.Packed `json:"state"` // 5 per entry: mu1, mu5, d1, d3, z
	Res   ensemble.Packed `json:"res"`   // leads per entry
	Scale [5]float64      `json:"scale"` // sd of the state columns

	doy [367][]int32
}

const stateCols = 5

func stateOf(r *row) [stateCols]float64 { return [stateCols]float64{r.mu[1], r.mu[5], r.d1, r.d3, r.z} }

func newLibrary(rows []row, first coldseam.Date) *Library {
	l := &Library{}
	var s, q [stateCols]float64
	for k := range rows {
		r := &rows[k]
		l.Day = append(l.Day, ensemble.DayNumber(first.Add(int(r.i))))
		for j, v := range stateOf(r) {
			l.State = append(l.State, float32(v))
			s[j], q[j] = s[j]+v, q[j]+v*v
		}
		for h := 1; h <= leads; h++ {
			l.Res = append(l.Res, float32(r.res[h]))
		}
	}

	n := float64(len(rows))
	for j := range l.Scale {
		l.Scale[j] = max(sqrt(q[j]/n-s[j]/n*s[j]/n), 1e-6)
	}
	l.decode()
	return l
}

// UnmarshalJSON reads a stored library and indexes it at once, so that one
// model may serve several goroutines. ErrInvalid: columns of unequal length.
func (l *Library) UnmarshalJSON(raw []byte) error {
	type stored Library
	if err := json.Unmarshal(raw, (*stored)(l)); err != nil {
		return err
	}
	if n := len(l.Day); len(l.State) != n*stateCols || len(l.Res) != n*leads {
		return fmt.Errorf("discharge error library: %d days, %d states, %d errors: %w", n, len(l.State), len(l.Res),
			coldseam.ErrInvalid)
	}
	l.decode()
	return nil
}

func (l *Library) date(k int32) coldseam.Date { return ensemble.Epoch.Add(int(l.Day[k])) }

// decode indexes the entries by day of the year.
func (l *Library) decode() {
	for d := range l.doy {
		l.doy[d] = nil
	}
	for k := range l.Day {
		d := l.date(int32(k)).YearDay()
		l.doy[d] = append(l.doy[d], int32(k))
	}
}

// stateWeight weighs the state columns in the distance [proposal].
var stateWeight = [stateCols]float64{1, 1, 1, 1, .25}

// nearest returns the k entries most like r.
func (l *Library) nearest(r *row, k int) []ensemble.Candidate {
	s := stateOf(r)
	var c []ensemble.Candidate
	for g := -dressDays; g <= dressDays; g++ {
		dd := float64(g) / dressDoy
		for _, i := range l.doy[(r.doy+g-1+732)%366+1] {
			x := l.State[int(i)*stateCols:]
			d := dd * dd
			for j := range stateCols {
				z := (float64(x[j]) - s[j]) / l.Scale[j]
				d += stateWeight[j] * z * z
			}
			c = append(c, ensemble.Candidate{D: d, K: i})
		}
	}
	return ensemble.Nearest(c, k)
}
