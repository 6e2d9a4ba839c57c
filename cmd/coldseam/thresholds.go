package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"example.org/coldseam/forecast/verdict"
)

// printTable writes every limit of the decision with unit, value, default and
// source.
func printTable(w io.Writer, t verdict.Table) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "  key\tvalue\tdefault\tunit\twhat\tsource")
	for _, row := range verdict.Thresholds() {
		fmt.Fprintf(tw, "  %s\t%g\t%g\t%s\t%s\t%s\n", row.Key, t.Value(row.Key), row.Default, row.Unit, row.Name, row.Source)
	}
	return tw.Flush()
}
