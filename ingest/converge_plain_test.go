//go:build !race

package ingest_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Whatever the order of the documents, back-filled pieces and repeats
// included, the table ends the same, with the flags that quality control gives
// the whole series.
func TestAnyOrderSameTable(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		docs := drawDeliveries(t, false)
		again := rapid.SliceOfN(rapid.IntRange(0, len(docs)-1), 0, 6).Draw(t, "again")
		order := rapid.Permutation(append(indices(len(docs)), again...)).Draw(t, "order")
		arrived := make([]delivery, len(order)) // a repeat is a document of its own
		for i, k := range order {
			arrived[i] = delivery{now.Add(time.Duration(i-len(order)) * time.Second), docs[k].rows}
		}
		converges(t, arrived, indices(len(order)))
	})
}

// With revisions the version known last stands, rows in any order and earlier
// documents replayed at any later time. A document that was never stored must
// be replayed together with all that came after it: values equal to the stored
// ones leave no trace of having been confirmed.
func TestRevisionsSameTable(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		docs := drawDeliveries(t, true)
		var order []int
		for k := range docs {
			order = append(order, k)
			for range rapid.IntRange(0, 2).Draw(t, "replays") {
				order = append(order, rapid.IntRange(0, k).Draw(t, "replay"))
			}
		}
		converges(t, docs, order)
	})
}
