package ingest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// rowsOf is the batch of stage values in metres at minutes after an hour.
func rowsOf(t *testing.T, rows ...Row) Batch {
	t.Helper()
	b := NewBuilder(Profile{Name: "x"})
	for _, r := range rows {
		r.Key = coldseam.SeriesKey{Site: "x:1", Param: coldseam.Stage}
		r.Unit = "m"
		b.Add(r)
	}
	out, err := b.Batch("test")
	require.NoError(t, err)
	return out
}

func at(minute int) Stamp {
	t := time.Date(2026, 4, 10, 6, minute, 0, 0, time.UTC)
	return Stamp{At: t, End: t}
}

// Two values of one time in one document: neither can be believed, and the
// rest of the series stands. The same value twice is one value.
func TestTwoValuesOfOneTimeAreLeftOut(t *testing.T) {
	t.Parallel()
	b := rowsOf(t, Row{Stamp: at(0), Raw: "1"}, Row{Stamp: at(15), Raw: "2"}, Row{Stamp: at(15), Raw: "2"},
		Row{Stamp: at(30), Raw: "3"}, Row{Stamp: at(0), Raw: "1.5"}, Row{Stamp: at(45), Raw: ""}, Row{Stamp: at(45), Raw: "4"})
	require.Len(t, b.Series[0].Obs, 2)
	require.Equal(t, 1, b.Meta[0].Duplicates)
	require.Equal(t, []Skipped{{What: "x:1/stage/instant", Code: CodeConflict,
		Why: "two values of one time in the document", N: 4}}, b.Skipped)
}

// A time in year 1 is a word for "none": it costs its row, not the series.
func TestYearOneCostsItsRow(t *testing.T) {
	t.Parallel()
	b := rowsOf(t, Row{Stamp: Stamp{}, Raw: "9"}, Row{Stamp: at(0), Raw: "1"})
	require.Len(t, b.Series[0].Obs, 1)
	require.Equal(t, CodeTime, b.Skipped[0].Code)
	require.Equal(t, 1, b.Skipped[0].N)
}
