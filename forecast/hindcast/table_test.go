package hindcast

import (
	"fmt"
	"io"
	"strings"
)

// WriteTable writes the mean over several rivers as plain text, one block a
// season: CRPS by method and lead, coldseam's coverage, its gain in % over the
// best reference of each lead with the 90 % interval, and on how many rivers it
// is better.
func WriteTable(w io.Writer, title string, reports []Report, replicates int) error {
	var b strings.Builder
	for _, s := range []string{seasonCold, seasonAll} {
		writeSeason(&b, title, s, reports, replicates)
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("write table: %w", err)
	}
	return nil
}

func writeSeason(b *strings.Builder, title, season string, reports []Report, replicates int) {
	if len(reports) == 0 {
		return
	}
	leads := reports[0].Leads
	n := 0
	mean := map[string][]float64{}
	cover := make([]float64, len(leads))

	for i := range reports {
		x := reports[i].season(season)
		n += x.N

		for l := range leads {
			if x.N > 0 {
				cover[l] += x.Coverage80[l] * float64(x.N)
			}
			for _, m := range Methods {
				if mean[m] == nil {
					mean[m] = make([]float64, len(leads))
				}
				if x.CRPS[m] != nil {
					mean[m][l] += x.CRPS[m][l] / float64(len(reports))
				}
			}
		}
	}

	fmt.Fprintf(b, "%s, %s, %d issues, days %s\n", title, season, n, strings.Trim(fmt.Sprint(leads), "[]"))
	for _, m := range Methods {
		fmt.Fprintf(b, "  %-12s", m)
		for l := range leads {
			fmt.Fprintf(b, " %6.3f", mean[m][l])
		}
		b.WriteByte('\n')
	}

	fmt.Fprintf(b, "  %-12s", "coverage 80")
	for l := range leads {
		fmt.Fprintf(b, " %6.3f", cover[l]/float64(max(n, 1)))
	}
	fmt.Fprintf(b, "\n  %-12s", "gain %")

	for l := range leads {
		best := bestReference(mean, l)
		iv := Pooled(reports, season, best, l, replicates)
		better := 0
		for i := range reports {
			if x := reports[i].season(season); x.N > 0 && x.CRPS[Coldseam][l] < x.CRPS[best][l] {
				better++
			}
		}
		fmt.Fprintf(b, " %.0f (%.0f..%.0f, %d of %d vs %s)", 100*iv.Skill, 100*iv.Lo, 100*iv.Hi, better, len(reports),
			best)
	}

	b.WriteString("\n")
}

func bestReference(mean map[string][]float64, l int) string {
	best := Methods[1]
	for _, m := range Methods[2:] {
		if mean[m][l] < mean[best][l] {
			best = m
		}
	}
	return best
}

func (r *Report) season(s string) Block {
	if s == seasonAll {
		return r.All
	}
	return r.Cold
}
