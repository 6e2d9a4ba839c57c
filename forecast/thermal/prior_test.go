package thermal

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// The prior is learnt on out-of-fold forecasts of every public river with water
// and air: short records on pieces of four years, up to three a river, as if
// each river had begun then.
const (
	learnSeed   = 1
	learnDays   = 4 * 365
	learnPieces = 3
	learnYears  = 4.2 // of water, from which a record teaches the long recipe
	learnRidge  = .003
)

// course is one record of prior.csv in one air mode.
type course struct {
	record string
	mode   int
}

func (c course) kinds() []heatKind {
	if c.record == longRecord {
		return longKinds
	}
	return shortKinds
}

func (c course) sources() int { return len(c.kinds()) + 3 }

func (c course) columns() int { return c.sources() + 4 + 2*c.mode }

var courses = []course{{longRecord, withoutAir}, {longRecord, withAir}, {shortRecord, withoutAir},
	{shortRecord, withAir}}

// lesson is what one river teaches one course: normal equations by node, and by
// lead the squared error of damped anomaly, which makes rivers equal.
type lesson struct {
	n     [len(priorLeads)][priorDays][len(stateNodes)]*ensemble.Normal
	scale [len(priorLeads)]float64
}

// add shares every so many-th row out between the season nodes to either side.
func (s *lesson) add(c course, rows []row, every int) {
	p := c.columns()
	for k := 0; k < len(rows); k += every {
		r := &rows[k]
		d := min((r.doy-1)/priorStep, priorDays-1)
		on := min(float64(r.doy-1-d*priorStep)/priorStep, 1)
		for st, t0 := range stateNodes {
			z := (warp(r.t) - warp(t0)) / stateSD
			w := math.Exp(-.5 * z * z)
			for l, h := range priorLeads {
				for _, x := range []struct {
					day   int
					share float64
				}{{d, 1 - on}, {(d + 1) % priorDays, on}} {
					n := &s.n[l][x.day][st]
					if *n == nil {
						*n = ensemble.NewNormal(p)
					}
					if w*x.share > 1e-3 {
						(*n).Add(r.x[h][:p], r.y[h], w*x.share)
					}
				}
			}
		}

		for l, h := range priorLeads {
			e := r.y[h] - r.x[h][c.sources()-1]
			s.scale[l] += e * e
		}
	}
}

// lessonsOf are those of one river; a record too short for a course has none.
func lessonsOf(d coldseam.Days) map[course]*lesson {
	out := map[course]*lesson{}
	teach := func(record string, d coldseam.Days, every int) {
		var cache *Cache
		for mode, rows := range cache.outOfFold(d, course{record, 0}.kinds(), Options{Seed: learnSeed}) {
			c := course{record, mode}
			if out[c] == nil {
				out[c] = &lesson{}
			}
			out[c].add(c, rows, every)
		}
	}

	if ensemble.Span(d.WaterC) > learnYears {
		teach(longRecord, d, 2)
	}
	n := 0
	for a := d.Len() % learnDays; a+learnDays <= d.Len() && n < learnPieces; a += learnDays {
		x := coldseam.Days{First: d.Day(a), WaterC: d.WaterC[a : a+learnDays], AirC: d.AirC[a : a+learnDays],
			FlowM3S: d.FlowM3S[a : a+learnDays]}
		if ensemble.Span(x.WaterC) >= learnDays/ensemble.YearDays/2 && ensemble.Span(x.AirC) >= 1 {
			teach(shortRecord, x, 1)
			n++
		}
	}

	return out
}

// taught is a public record with its lessons.
type taught struct {
	file    string
	lessons map[course]*lesson
}

// lessons are those of all records of water temperature of the public series,
// once a run of the tests.
var lessons []taught

func learn(t testing.TB) []taught {
	if lessons != nil {
		return lessons
	}
	for _, dir := range []string{"alaska", "alaska_more", "greatlakes"} {
		files, err := filepath.Glob(filepath.Join(os.Getenv("COLDSEAM_REAL_DATA"), "series", dir, "*.csv"))
		require.NoError(t, err)
		for _, f := range files {
			lessons = append(lessons, taught{file: filepath.Join(dir, filepath.Base(f))})
		}
	}

	var all sync.WaitGroup
	free := make(chan struct{}, runtime.NumCPU()) // a river's rows are large
	for i := range lessons {
		d := real(t, lessons[i].file)
		free <- struct{}{}
		all.Go(func() {
			lessons[i].lessons = lessonsOf(d)
			<-free
		})
	}
	all.Wait()
	return lessons
}

// Record is a public record with the means to forecast it by what the other
// rivers taught.
type Record struct {
	File string
	Days coldseam.Days
	// Strange makes the fits of this package start from what all other rivers taught.
	Strange func()
}

// Records are all public records of water temperature.
func Records(t testing.TB) []Record {
	rivers := learn(t)
	var out []Record
	for _, r := range rivers {
		out = append(out, Record{r.file, real(t, r.file), func() {
			priorCSV = string(priorFrom(rivers, r.file))
		}})
	}
	return out
}

// priorFrom solves the nodes for all rivers but the one left out. The rivers of
// Alaska and those elsewhere count the same in sum.
func priorFrom(rivers []taught, left string) []byte {
	var b bytes.Buffer
	fmt.Fprintln(&b, "record,mode,lead,day,state,coefficients")
	for _, c := range courses {
		var count [2]float64
		for _, r := range rivers {
			if r.file != left && r.lessons[c] != nil {
				count[r.region()]++
			}
		}

		for l, h := range priorLeads {
			for d := range priorDays {
				for st := range stateNodes {
					n := ensemble.NewNormal(c.columns())
					for _, r := range rivers {
						s := r.lessons[c]
						if r.file == left || s == nil {
							continue
						}
						for j := range priorDays {
							g := float64(ensemble.DoyGap(1+j*priorStep, 1+d*priorStep)) / doySD
							if s.n[l][j][st] != nil {
								n.AddScaled(s.n[l][j][st], math.Exp(-.5*g*g)/s.scale[l]/count[r.region()])
							}
						}
					}
					fmt.Fprintf(&b, "%s,%d,%d,%d,%d", c.record, c.mode, l, d, st)
					for _, v := range solveNode(n, c.first(), h, 1, 0) {
						fmt.Fprintf(&b, ",%.4g", v)
					}
					fmt.Fprintln(&b)
				}
			}
		}
	}

	return b.Bytes()
}

func (r taught) region() int {
	if strings.HasPrefix(r.file, "alaska") {
		return 0
	}
	return 1
}

// first is what the learning itself starts from.
func (c course) first() recipe {
	rc := recipe{kinds: c.kinds(), prior: []float64{.5, .2, .15, .15}}
	if c.record == shortRecord {
		rc.prior = []float64{.3, .2, 0, 0, .2, .15, .15}
	}
	rc.nu, rc.nuSpring, rc.nue = learnRidge, learnRidge, featureRidge*learnRidge
	return rc
}

// TestPrior learns prior.csv again from the public series, byte for byte; it
// takes minutes and runs on demand: COLDSEAM_PRIOR=check, or write.
func TestPrior(t *testing.T) {
	mode := os.Getenv("COLDSEAM_PRIOR")
	if mode == "" {
		t.Skip("COLDSEAM_PRIOR is not set: the coefficients are learnt on demand")
	}
	rivers := learn(t)
	hash := sha256.New()
	for _, r := range rivers {
		raw, err := os.ReadFile(filepath.Join(os.Getenv("COLDSEAM_REAL_DATA"), "series", r.file))
		require.NoError(t, err)
		hash.Write(raw)
	}

	want := append(fmt.Appendf(nil, priorHead, len(rivers), learnSeed, hash.Sum(nil)), priorFrom(rivers, "")...)
	if mode == "write" {
		require.NoError(t, os.WriteFile("prior.csv", want, 0o644))
		return
	}
	require.Equal(t, string(want), priorCSV)
}

const priorHead = `# Coefficients that the water temperature regression of a river starts from, by node; in prior.go.
# Learnt on %d public rivers, seed %d, SHA-256 of their files in order %x:
# AKTEMP (U.S. Fish and Wildlife Service) as compiled by Chang et al. 2025, doi 10.5281/zenodo.15186293, MIT;
# air of ERA5-Land: contains modified Copernicus Climate Change Service information;
# U.S. Geological Survey and NOAA GHCN-Daily, public domain.
# Again: COLDSEAM_PRIOR=write COLDSEAM_REAL_DATA=FOLDER go test ./forecast/thermal -run TestPrior
`

// Every node of the shipped file has the columns of its course.
func TestPriorIsWhole(t *testing.T) {
	t.Parallel()
	p := learnt()
	require.Len(t, p, len(courses)*len(priorLeads)*priorDays*len(stateNodes))
	for k, x := range p {
		require.Len(t, x, course{k.record, k.mode}.columns(), "%v", k)
	}
}

// Between nodes the coefficients are interpolated, around the year and by lead.
func TestPriorBetweenNodes(t *testing.T) {
	t.Parallel()
	p := prior{}
	for l := range priorLeads {
		for d := range priorDays {
			p[priorKey{lead: l, day: d}] = []float64{float64(priorLeads[l]), float64(d)}
		}
	}
	for _, c := range []struct {
		lead, doy int
		day       float64
	}{{1, 1, 0}, {4, 27, .5}, {10, 53, 1}, {9, 313, 6}, {6, 340, 3}} {
		x := p.at(priorKey{}, c.lead, c.doy)
		require.InDelta(t, float64(c.lead), x[0], 1e-9, "lead %d", c.lead)
		require.InDelta(t, c.day, x[1], .01, "day %d", c.doy)
	}
}
