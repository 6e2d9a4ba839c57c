package thermal

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// cModel compiles the C program of the same heat balance; ok is false where
// there is no gcc.
func cModel(tb testing.TB) (bin string, ok bool) {
	tb.Helper()
	gcc, err := exec.LookPath("gcc")
	if err != nil {
		return "", false
	}
	bin = filepath.Join(tb.TempDir(), "model")
	out, err := exec.Command(gcc, "-O3", "-o", bin, "testdata/model.c", "-lm").CombinedOutput()
	require.NoError(tb, err, string(out))
	return bin, true
}

// runC returns the temperatures and the fastest of the runs, in ns.
func runC(tb testing.TB, bin string, h Heat, f forcing, rounds int) (water []float64, ns float64) {
	tb.Helper()
	var in strings.Builder
	fmt.Fprintln(&in, len(f.air), rounds, h.W)
	for _, a := range h.A {
		fmt.Fprintln(&in, a)
	}
	for i := range f.air {
		fmt.Fprintln(&in, f.air[i], f.lnq[i], f.cos[i], f.sin[i])
	}

	cmd := exec.Command(bin)
	cmd.Stdin = strings.NewReader(in.String())
	out, err := cmd.Output()
	require.NoError(tb, err)
	lines := strings.Fields(string(out))
	require.Len(tb, lines, len(f.air)+2)
	for _, l := range lines[:len(f.air)] {
		x, err := strconv.ParseFloat(l, 64)
		require.NoError(tb, err)
		water = append(water, x)
	}

	ns, err = strconv.ParseFloat(lines[len(lines)-1], 64)
	require.NoError(tb, err)
	return water, ns
}

// An independent program in C gives the same thirty years of water.
func TestModelAgreesWithC(t *testing.T) {
	t.Parallel()
	bin, ok := cModel(t)
	if !ok {
		t.Skip("no gcc: the C model is not compared")
	}
	f := thirtyYears()
	for name, a := range published {
		h := Heat{Kind: 8, A: a, W: .7}
		want, _ := runC(t, bin, h, f, 0)
		got := make([]float64, len(f.air))
		h.run(got, nil, f, 0)
		require.InDeltaSlice(t, want, got, 1e-9, name)
		require.Greater(t, want[200], 1., name)
	}
}

// fastest is the least time of one call, as the C program reports it: on a
// machine that does other work the least is what two programs share.
func fastest(b *testing.B, f func()) {
	best := time.Duration(1 << 62)
	for b.Loop() {
		at := time.Now()
		f()
		best = min(best, time.Since(at))
	}
	b.ReportMetric(float64(best.Nanoseconds()), "min-ns")
}
