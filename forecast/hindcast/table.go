package hindcast

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// WriteScores writes the scores of reports as CSV with the columns
// series,variable,mode,model,season,lead_d,n,metric,value: CRPS, RMSE, 80 %
// coverage, and coldseam's skill against each reference with the ends of its
// 90 % interval.
func WriteScores(w io.Writer, reports []Report) error {
	c := csv.NewWriter(w)
	put := func(f ...string) { _ = c.Write(f) } // Flush reports the first error
	put("series", "variable", "mode", "model", "season", "lead_d", "n", "metric", "value")

	for i := range reports {
		r := &reports[i]

		for _, s := range []string{seasonCold, seasonAll} {
			b := r.Cold
			if s == seasonAll {
				b = r.All
			}

			for l, lead := range r.Leads {
				row := func(model, metric string, v float64) {
					put(r.Site, string(r.Quantity), string(r.Air), model, s, strconv.Itoa(lead), strconv.Itoa(b.N),
						metric, number(v))
				}

				for _, m := range Methods {
					if b.CRPS[m] == nil {
						continue
					}
					row(m, "crps", b.CRPS[m][l])
					row(m, "rmse", b.RMSE[m][l])
					row(m, "coverage80", b.CoverageBy[m][l])
					if k := b.Skill[m]; k != nil {
						row(Coldseam, "skill_vs_"+m, k[l][0])
						row(Coldseam, "skill_vs_"+m+"_lo", k[l][1])
						row(Coldseam, "skill_vs_"+m+"_hi", k[l][2])
					}
				}
			}
		}
	}

	c.Flush()
	if err := c.Error(); err != nil {
		return fmt.Errorf("write scores: %w", err)
	}
	return nil
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// MemberWriter writes the members file: every scored issue, from which all
// scores can be made again.
type MemberWriter struct {
	c    *csv.Writer
	o    Options
	head bool
}

// NewMemberWriter writes for one hindcast; its Write is the Member of Options.
func NewMemberWriter(w io.Writer, o Options) *MemberWriter {
	return &MemberWriter{c: csv.NewWriter(w), o: o}
}

// Write writes one row, the header before the first:
// series,issued,variable,mode,model,lead_d,observed,members, members joined
// by ";", degC or m3/s.
func (w *MemberWriter) Write(r MemberRow) error {
	if !w.head {
		w.head = true
		if err := w.c.Write([]string{"series", "issued", "variable", "mode", "model", "lead_d", "observed",
			"members"}); err != nil {
			return fmt.Errorf("write members: %w", err)
		}
	}
	m := make([]string, len(r.Members))
	for i, v := range r.Members {
		m[i] = number(v)
	}
	if err := w.c.Write([]string{w.o.Site, r.Issued.String(), string(w.o.Quantity), string(w.o.Air), Coldseam,
		strconv.Itoa(r.Lead), number(r.Observed), strings.Join(m, ";")}); err != nil {
		return fmt.Errorf("write members: %w", err)
	}
	return nil
}

// Flush writes what is buffered and reports the first error.
func (w *MemberWriter) Flush() error {
	w.c.Flush()
	if err := w.c.Error(); err != nil {
		return fmt.Errorf("write members: %w", err)
	}
	return nil
}

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
