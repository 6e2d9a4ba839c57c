package chart

import (
	"encoding/xml"
	"errors"
	"flag"
	"html/template"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
)

// update rewrites the golden files: go test ./notify/chart -update.
var update = flag.Bool("update", false, "rewrite golden files")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

func TestGoldenSVG(t *testing.T) {
	t.Parallel()
	for _, b := range []coldseam.Brief{brieftest.Go(), brieftest.Stop()} {
		for _, units := range []string{"us", "metric"} {
			flow, err := FlowSVG(b, units)
			require.NoError(t, err)
			golden(t, string(b.Reach)+"-flow-"+units+".svg", string(flow))
			temp, err := TempSVG(b, units)
			require.NoError(t, err)
			golden(t, string(b.Reach)+"-temp-"+units+".svg", string(temp))
		}
	}
}

// wellFormed reads the markup to its end and returns every number in it.
func wellFormed(t require.TestingT, svg string) {
	d := xml.NewDecoder(strings.NewReader(svg))

	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		require.NoError(t, err, svg)
		e, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}

		for _, a := range e.Attr {
			require.NotEqual(t, "style", a.Name.Local)
			require.NotContains(t, a.Value, "NaN")
			require.NotContains(t, a.Value, "Inf")
			if e.Name.Local == "rect" && (a.Name.Local == "width" || a.Name.Local == "height") {
				x, err := strconv.ParseFloat(strings.TrimSuffix(a.Value, "%"), 64)
				require.NoError(t, err)
				require.GreaterOrEqual(t, x, 0.)
			}
		}
	}
}

// TestAnyChart draws random series with gaps and holes: nothing panics, nothing
// is written that is no number, and all of the fan lies in the plot.
func TestAnyChart(t *testing.T) {
	t.Parallel()
	val := rapid.OneOf(rapid.Float64Range(-5, 30), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), 1e9, -1e9}))

	rapid.Check(t, func(t *rapid.T) {
		b := coldseam.Brief{
			Zone:    "America/Chicago",
			Day:     brieftest.Day,
			Issued:  brieftest.Issued,
			Verdict: coldseam.Go,
			WindowI: -1,
		}
		for i := range rapid.IntRange(0, 12).Draw(t, "readings") {
			b.Chart.TempObs = append(b.Chart.TempObs,
				coldseam.Point{At: brieftest.Issued.Add(-time.Duration(12-i) * 5 * time.Hour), V: val.Draw(t, "v"),
					Gap: rapid.Bool().Draw(t, "gap")})
		}
		b.Chart.FlowObs = b.Chart.TempObs
		for i := range rapid.IntRange(0, 12).Draw(t, "steps") {
			b.Chart.Valid = append(b.Chart.Valid,
				brieftest.Issued.Add(time.Duration(i+1)*time.Duration(rapid.IntRange(1, 30).Draw(t, "h"))*time.Hour))
			v := val.Draw(t, "mid")
			b.Chart.TempFan = append(b.Chart.TempFan, [5]float64{v - 2, v - 1, v, v + 1, v + 2})
		}

		b.Chart.FlowFan = b.Chart.TempFan
		b.Chart.FlowLimitM3S = rapid.Float64Range(0, 100).Draw(t, "limit")
		b.Chart.Windows = [][2]time.Time{{brieftest.Issued, brieftest.Issued.Add(4 * time.Hour)}}
		for _, f := range []func(coldseam.Brief, string) (template.HTML, error){FlowSVG, TempSVG} {
			got, err := f(b, "us")
			if err != nil {
				require.ErrorIs(t, err, coldseam.ErrNotFound)
				continue
			}
			wellFormed(t, string(got))
		}
	})
}

func TestRefuses(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	b.Zone = "No/Where"
	_, err := FlowSVG(b, "us")
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	b = brieftest.Go()
	b.Chart.FlowFan = b.Chart.FlowFan[1:]
	_, err = FlowSVG(b, "us")
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	_, err = TempSVG(brieftest.NoCall(), "us")
	require.ErrorIs(t, err, coldseam.ErrNotFound)
}

// TestDotsAgreeWithTheCalendar: a window's dot lies in the calendar's band
// whenever that band has six chances in ten or more.
func TestDotsAgreeWithTheCalendar(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	f, err := newFan(b, true, false, pageTemp)
	require.NoError(t, err)
	require.Len(t, f.Dots, 7)
	checked := 0

	for i, n := range b.Next {
		for k, share := range n.Bands {
			if share < .6 {
				continue
			}
			y := f.Dots[i+1].Y
			for e, edge := range coldseam.BandEdgesC(b.BandRows()) {
				for _, g := range f.Grid {
					if g.Label != number(math.Round(coldseam.F(edge))) {
						continue
					}
					if e < k {
						require.Less(t, y, g.Y, "above the lower edge")
					} else {
						require.Greater(t, y, g.Y, "below the upper edge")
					}
					checked++
				}
			}
		}
	}

	require.Positive(t, checked)
}

func TestFanGeometry(t *testing.T) {
	t.Parallel()

	for _, b := range []coldseam.Brief{brieftest.Go(), brieftest.TossUp(), brieftest.Stay(), brieftest.Stop()} {
		for _, temp := range []bool{false, true} {
			f, err := newFan(b, temp, false, span{
				before:  48 * time.Hour,
				after:   168 * time.Hour,
				h:       170,
				windows: true,
			})
			require.NoError(t, err)
			for _, line := range append([][]xy{f.P80, f.P50, f.Median}, f.Obs...) {
				for _, p := range line {
					require.True(t, p.X >= -1e-9 && p.X <= 1+1e-9 && p.Y >= 0 && p.Y <= f.H, "%v in the plot", p)
				}
			}

			n := len(f.P80) / 2
			for i := range n {
				lo, hi := f.P80[2*n-1-i].Y, f.P80[i].Y
				require.LessOrEqual(t, hi, f.P50[i].Y+1e-9)
				require.LessOrEqual(t, f.P50[i].Y, f.Median[i].Y+1e-9)
				require.LessOrEqual(t, f.Median[i].Y, lo+1e-9)
			}

			for _, o := range f.Obs {
				require.LessOrEqual(t, o[len(o)-1].X, f.Now+1e-9, "measured ends at now")
			}
			if !temp {
				require.Contains(t, []int{3, 4}, len(f.Grid), "three or four round values")
			}
		}
	}
}

func TestGapStaysAGap(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	f, err := newFan(b, true, false, pageTemp)
	require.NoError(t, err)
	require.Len(t, f.Obs, 2, "the sample has one gap")
	b.Chart.TempObs[20].V = math.NaN()
	f, err = newFan(b, true, false, pageTemp)
	require.NoError(t, err)
	require.Len(t, f.Obs, 3)
}

func TestOldReadingIsNotJoined(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	b.Chart.FlowObs = b.Chart.FlowObs[:30] // silent since 19 h
	f, err := newFan(b, false, false, pageFlow)
	require.NoError(t, err)
	require.Greater(t, f.Median[0].X, f.Now, "the fan begins at its own first step")
}

func TestNoForecastIsWords(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	b.Chart.Valid, b.Chart.FlowFan, b.Chart.TempFan = nil, nil, nil
	got, err := FlowSVG(b, "us")
	require.NoError(t, err)
	require.Contains(t, string(got), "No forecast.")
	require.NotContains(t, string(got), `class="f80"`)
}

// TestClockChange: the spring day has 23 hours, its noon still lies at noon.
func TestClockChange(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	b.Issued, b.Day = time.Date(2027, 3, 13, 10, 50, 0, 0, time.UTC), coldseam.Date{Year: 2027, Month: 3, Day: 13}
	for i := range b.Chart.FlowObs {
		b.Chart.FlowObs[i].At = b.Issued.Add(-time.Duration(48-i) * time.Hour)
	}
	for i := range b.Chart.Valid {
		b.Chart.Valid[i] = b.Issued.Add(time.Duration(3*i+3) * time.Hour)
	}

	f, err := newFan(b, false, false, pageFlow)
	require.NoError(t, err)
	require.Equal(t, "now 4:50", f.NowText)
	var sun dayMark
	for _, d := range f.Days {
		if d.Short == "Sun" {
			sun = d
		}
	}

	loc, err := time.LoadLocation(b.Zone)
	require.NoError(t, err)
	from := b.Issued.Add(-pageFlow.before)
	whole := float64(pageFlow.before + pageFlow.after)
	require.InDelta(t, float64(time.Date(2027, 3, 14, 0, 0, 0, 0, loc).Sub(from))/whole, sun.Midnight, 1e-9)
	require.InDelta(t, float64(time.Date(2027, 3, 14, 12, 30, 0, 0, loc).Sub(from))/whole, sun.Noon, 1e-9,
		"the middle of a day of 23 h")
}

// TestLimitWordsLieOnNothing: wherever the limit lies, its words cover neither
// the fan nor the readings.
func TestLimitWordsLieOnNothing(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		b := brieftest.Stop()
		b.Chart.FlowLimitM3S = rapid.Float64Range(40, 400).Draw(t, "limit")
		f, err := newFan(b, false, false, pageFlow)
		require.NoError(t, err)
		if f.Limit == nil || f.Place.Title {
			return
		}

		x0, x1, y := 1-limitWidth, 1., f.Limit.Y-10
		if f.Place.Left {
			x0, x1 = 0, limitWidth
		}
		if f.Place.Below {
			y = f.Limit.Y + 10
		}
		require.True(t, f.clear(x0, x1, y-4, y+4))
		require.True(t, y > 0 && y < f.H)
	})

	b := brieftest.Stop()
	b.Chart.FlowLimitM3S = 140 // inside both the readings and the fan
	got, err := FlowSVG(b, "us")
	require.NoError(t, err)
	require.Contains(t, string(got), `y="15" text-anchor="end">— club limit 4,940`)
}

// TestScaleWithoutBandLines: a chart always shows two numbers or more.
func TestScaleWithoutBandLines(t *testing.T) {
	t.Parallel()
	for _, shift := range []float64{0, 4, 9, 14, -3.5} {
		b := brieftest.Go()
		for i := range b.Chart.TempObs {
			b.Chart.TempObs[i].V += shift
		}
		for i := range b.Chart.TempFan {
			for k := range b.Chart.TempFan[i] {
				b.Chart.TempFan[i][k] += shift
			}
		}
		for _, h := range []float64{170, 224} {
			f, err := newFan(b, true, false, span{before: 24 * time.Hour, after: 96 * time.Hour, h: h})
			require.NoError(t, err)
			require.GreaterOrEqual(t, len(f.Grid)+len(f.Plain), 2, "shift %g", shift)
		}
	}
}

func TestNumber(t *testing.T) {
	t.Parallel()
	for v, want := range map[float64]string{0: "0", 999: "999", 1000: "1,000", 12345.5: "12,345.5", -3: "−3",
		1234567: "1,234,567", .25: "0.25", -1e-9: "0"} {
		require.Equal(t, want, number(v))
	}
	require.Equal(t, 8790., threeFigures(8793.352))
	require.Equal(t, .0123, threeFigures(.01234))
}

// BenchmarkChart draws the mail's picture and the page's two charts; bytes is
// the size of the picture.
func BenchmarkChart(b *testing.B) {
	brief := brieftest.Go()
	b.Run("mail", func(b *testing.B) {
		b.ReportAllocs()
		n := 0
		for b.Loop() {
			png, err := MailPNG(brief, "us")
			if err != nil {
				b.Fatal(err)
			}
			n = len(png)
		}
		b.ReportMetric(float64(n), "bytes")
	})

	b.Run("page", func(b *testing.B) {
		b.ReportAllocs()
		n := 0
		for b.Loop() {
			flow, err := FlowSVG(brief, "us")
			if err != nil {
				b.Fatal(err)
			}
			temp, err := TempSVG(brief, "us")
			if err != nil {
				b.Fatal(err)
			}
			n = len(flow) + len(temp)
		}

		b.ReportMetric(float64(n), "bytes")
	})
}
