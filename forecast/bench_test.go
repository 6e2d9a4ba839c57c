package forecast

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/forecast/thermal"
)

// BenchmarkMorning is one river's morning with models at hand: 100 members,
// run, weight and brief.
func BenchmarkMorning(b *testing.B) {
	f := river()
	f.Members = 100
	b.ReportAllocs()
	for b.Loop() {
		if x := Make(f); x.Brief.River == "" {
			b.Fatal("no brief")
		}
	}
}

// benchRivers is the largest number of rivers; COLDSEAM_BENCH_RIVERS=1000 gives
// the figures of the performance table.
func benchRivers() int {
	if n, err := strconv.Atoi(os.Getenv("COLDSEAM_BENCH_RIVERS")); err == nil && n > 0 {
		return n
	}
	return 100
}

// riverNo is the invented river under another number: a record, readings and a
// seed of its own.
func riverNo(k int) Inputs {
	f := unfitted()
	f.Seed, f.Members = uint64(k+1), 100
	f.Reach.ID = coldseam.ReachID(fmt.Sprintf("r%d", k))
	f.Reach.Site = coldseam.SiteID(fmt.Sprintf("x:%d", k))
	f.Site.ID = f.Reach.Site
	d := float64(k%41-20) / 40
	for i := range f.Days.WaterC {
		f.Days.WaterC[i] = max(f.Days.WaterC[i]+d, 0)
		f.Days.FlowM3S[i] *= 1 + d/5
	}
	for i := range f.Water {
		f.Water[i].Value += d
		f.Discharge[i].Value *= 1 + d/5
	}
	return f
}

// BenchmarkRivers is the club's whole morning without the database: for each
// river its stored models are read back, then forecast, run, weight and brief,
// on as many workers as there are cores. The time of a river and the peak of
// memory above that before must not grow with their number.
func BenchmarkRivers(b *testing.B) {
	flowRaw, err := json.Marshal(fitted().FlowModel)
	require.NoError(b, err)
	tempRaw, err := json.Marshal(fitted().TempModel)
	require.NoError(b, err)

	morning := func(k int) error {
		f := riverNo(k)
		f.FlowModel, f.TempModel = new(flow.Model), new(thermal.Model)
		if err := json.Unmarshal(flowRaw, f.FlowModel); err != nil {
			return err
		}
		if err := json.Unmarshal(tempRaw, f.TempModel); err != nil {
			return err
		}
		m := Make(f)
		if len(m.Problems) > 0 || m.Brief.Verdict == coldseam.NoCall || m.Brief.Jig == nil ||
			len(m.Temp.Members) != 100 {
			return fmt.Errorf("river %d: %s, %v, %d members", k, m.Brief.Verdict, m.Problems, len(m.Temp.Members))
		}
		return nil
	}

	for n := 10; n <= benchRivers(); n *= 10 {
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			debug.FreeOSMemory()
			_ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) // the peak starts anew
			before := peakMB()

			for b.Loop() {
				next := make(chan int)
				errs := make([]error, runtime.GOMAXPROCS(0))
				var wg sync.WaitGroup
				for w := range errs {
					wg.Go(func() {
						for k := range next {
							if err := morning(k); err != nil && errs[w] == nil {
								errs[w] = err
							}
						}
					})
				}

				for k := range n {
					next <- k
				}
				close(next)
				wg.Wait()
				for _, err := range errs {
					require.NoError(b, err)
				}
			}

			b.ReportMetric(b.Elapsed().Seconds()/float64(b.N*n), "s/river")
			b.ReportMetric(peakMB()-before, "MB-peak")
		})
	}
}

// peakMB is the most memory that was resident since the start or the last
// clear_refs; 0 where there is no /proc.
func peakMB() float64 {
	raw, _ := os.ReadFile("/proc/self/status")
	_, after, ok := bytes.Cut(raw, []byte("VmHWM:"))
	if !ok {
		return 0
	}
	kb, _ := strconv.ParseFloat(strings.Fields(string(after))[0], 64)
	return kb / 1024
}
