package jig

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// peer compiles the C bisection; ok is false where there is no gcc.
func peer(tb testing.TB) (bin string, ok bool) {
	tb.Helper()
	gcc, err := exec.LookPath("gcc")
	if err != nil {
		return "", false
	}
	bin = filepath.Join(tb.TempDir(), "lightest")
	out, err := exec.Command(gcc, "-O3", "-o", bin, "testdata/lightest.c", "-lm").CombinedOutput()
	require.NoError(tb, err, string(out))
	return bin, true
}

type peerCase struct {
	rig Rig
	st  Station
}

func (c peerCase) line() string {
	r, st, b := c.rig, c.st, c.rig.Body
	lead := min(r.Pres.LeadM, 1e9)
	return fmt.Sprintln(st.DepthM, st.SurfaceMS, st.Water.RhoKGM3, st.Water.NuM2S, r.Line.DiameterM, r.Line.RhoKGM3,
		r.Pres.Frame, r.Pres.Lam,
		r.Pres.ThetaMaxDeg, lead, b.LengthM, b.DiameterM, b.VolumeM3, b.RhoKGM3, b.CdForm, b.FallM2, b.FallCd)
}

// runPeer returns the masses of the cases in kg and the time of one solution.
func runPeer(tb testing.TB, bin string, rounds int, cases []peerCase) (kg []float64, ns float64) {
	tb.Helper()
	var in strings.Builder
	for _, c := range cases {
		in.WriteString(c.line())
	}
	cmd := exec.Command(bin, strconv.Itoa(rounds))
	cmd.Stdin = strings.NewReader(in.String())
	out, err := cmd.Output()
	require.NoError(tb, err)
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	require.Len(tb, lines, len(cases)+1)

	for _, l := range lines[:len(cases)] {
		x, err := strconv.ParseFloat(l, 64)
		require.NoError(tb, err)
		kg = append(kg, x)
	}
	ns, err = strconv.ParseFloat(strings.Fields(lines[len(cases)])[1], 64)
	require.NoError(tb, err)
	return kg, ns
}

func peerCases(tb testing.TB) []peerCase {
	out := []peerCase{{rig(tb, "slim", braid, "quartering"), at(12, 1.9, 3)}}
	for _, body := range BodyNames() {
		for _, line := range []string{braid, nylon} {
			for _, pres := range PresentationNames() {
				for _, fps := range []float64{.3, 1, 1.9, 2.6, 4} {
					for _, ft := range []float64{3, 9, 15, 24} {
						out = append(out, peerCase{rig(tb, body, line, pres), at(ft, fps, 3)})
					}
				}
			}
		}
	}
	return out
}

func checkPeer(tb testing.TB, bin string) {
	tb.Helper()
	cases := peerCases(tb)
	want, _ := runPeer(tb, bin, 0, cases)
	for i, c := range cases {
		got, ok := Lightest(c.rig, c.st)
		require.Equal(tb, want[i] > 0, ok, "case %d", i)
		require.InDelta(tb, want[i], got, 1e-6, "case %d", i)
	}
}

// An independent program in C agrees with the Go search within a milligram on
// a thousand cases.
func TestPeerAgrees(t *testing.T) {
	t.Parallel()
	bin, ok := peer(t)
	if !ok {
		t.Skip("no gcc: the C bisection is not compared")
	}
	checkPeer(t, bin)
}

// BenchmarkLightest compares the search with a bisection of the same physics in
// C (gcc -O3) in one run; masses are compared before anything is timed.
func BenchmarkLightest(b *testing.B) {
	b.Run("c", func(b *testing.B) {
		bin, ok := peer(b)
		if !ok {
			b.Skip("no gcc")
		}
		checkPeer(b, bin)
		_, ns := runPeer(b, bin, 2000, peerCases(b)[:1])
		b.ReportMetric(ns, "ns/op")
		b.ReportMetric(0, "B/op")
	})

	r, st := rig(b, "slim", braid, "quartering"), at(12, 1.9, 3)
	b.Run("bisection", func(b *testing.B) {
		for b.Loop() {
			var c column
			c.init(r, st)
			bisect(&c)
		}
	})
	b.Run("ours", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			Lightest(r, st)
		}
	})
}

func BenchmarkSolve(b *testing.B) {
	r, st := rig(b, "slim", braid, "quartering"), at(12, 1.9, 3)
	b.ReportAllocs()
	for b.Loop() {
		Solve(r, st, .25*coldseam.KgPerOunce)
	}
}

// BenchmarkRiver is the whole advice for 50 spots with 3 rigs; the goal is
// under a second.
func BenchmarkRiver(b *testing.B) {
	var ins []SpotInput
	for i := range 50 {
		for _, r := range []Rig{rig(b, "slim", braid, "quartering"), rig(b, "bulky", nylon, "anchored"),
			rig(b, "paddle", braid, "drift")} {
			in := seam(b)
			in.Rig, in.Spot.DepthRefM = r, ptr(2+.1*float64(i))
			ins = append(ins, in)
		}
	}
	for b.Loop() {
		Reach(ins, nil)
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N), "s/river")
}
