package recap

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// Verify proves that no brief was edited since it was told, and grades what was
// told.
type Verify struct {
	Head string `help:"A seal from a mail or the season page: prove that the record still leads to it." placeholder:"SEAL"`
	Days int    `help:"Grade the statements of so many days." default:"365"`
}

// Run checks the chain and prints misses first.
func (v *Verify) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	e, err := openReader(ctx, s, g)
	if err != nil {
		return err
	}
	defer e.Close()
	return v.With(ctx, s.Out, NewSeason(e))
}

// seals is what a walk along the chain found.
type seals struct {
	first, last store.Sealed
	from, to    coldseam.Date // of all: a season may be entered after later days
	n           int
	broken      []string
	head        bool // the seal asked for is in it
}

// With verifies an open season.
func (v *Verify) With(ctx context.Context, w io.Writer, bk *Season) error {
	head := strings.ToLower(strings.TrimSpace(v.Head))
	if head != "" && (len(head) < 8 || strings.Trim(head, "0123456789abcdef") != "") {
		return env.Fail(2, fmt.Sprintf("--head %q: want at least 8 digits of a seal, 0-9 and a-f", v.Head))
	}
	var c seals
	err := bk.DB.EachSealed(ctx, func(s store.Sealed) error {
		if c.n++; c.n == 1 {
			c.first, c.from, c.to = s, s.Day, s.Day
		} else if !s.Holds {
			c.broken = append(c.broken, fmt.Sprintf("brief %d of %s for %s, issued %s", s.ID, s.Reach, s.Day,
				s.Issued.UTC().Format("2006-01-02 15:04:05 UTC")))
		}
		if c.last = s; s.Day.Before(c.from) {
			c.from = s.Day
		} else if c.to.Before(s.Day) {
			c.to = s.Day
		}
		c.head = c.head || head != "" && strings.HasPrefix(s.Seal, head)
		return nil
	})
	if err != nil {
		return err
	}
	if c.n == 0 {
		return env.Fail(1, "no brief was sealed yet: the first one told from now on begins the chain")
	}

	fmt.Fprintf(w, "%d briefs sealed, %s to %s; seal of the last: %s\n", c.n, c.from, c.to,
		notify.ShortSeal(c.last.Seal))
	if !c.first.Holds {
		c.broken = append([]string{fmt.Sprintf("brief %d, the oldest: it does not begin a chain", c.first.ID)}, c.broken...)
	}
	for i, b := range c.broken {
		if i == shownLines {
			fmt.Fprintf(w, "and %d more\n", len(c.broken)-i)
			break
		}
		fmt.Fprintf(w, "NOT AS IT WAS SEALED: %s\n", b)
	}
	if err := bk.grade(ctx, w, v.Days); err != nil {
		return err
	}

	switch {
	case len(c.broken) > 0:
		return env.Fail(1, "the record was edited after it was told; a brief after an edited seal or a deleted brief fails too")
	case head != "" && !c.head:
		return env.Fail(1, "the seal "+head+" is not in this record: briefs are missing, or it is of another club")
	}
	fmt.Fprintln(w, "nothing that was told was edited since")
	return nil
}

// shownLines of a list are printed.
const shownLines = 20

// miss is a statement that did not come true.
type miss struct {
	size float64 // beyond the range told, in its own half width
	text string
}

// grade holds the ranges told for each window against what the gauge measured
// in it, misses first, then the scores of what was issued.
func (bk *Season) grade(ctx context.Context, w io.Writer, days int) error {
	reaches, err := bk.DB.Reaches(ctx)
	if err != nil {
		return err
	}
	var missed []miss
	told := map[coldseam.Parameter]int{}
	to := coldseam.DateOf(bk.Now().UTC())
	for _, r := range reaches {
		for d := to.Add(-days); !to.Before(d); d = d.Add(1) {
			briefs, err := bk.DB.BriefIssues(ctx, r.ID, d)
			if err != nil {
				return err
			}
			for _, b := range briefs {
				got, err := bk.graded(ctx, r, b, told)
				if err != nil {
					return err
				}
				missed = append(missed, got...)
			}
		}
	}

	all := told[coldseam.WaterTemp] + told[coldseam.Discharge]
	fmt.Fprintf(w, "\n%d ranges of four in five were told for a window and measured there: water %d, flow %d; %d missed\n", all,
		told[coldseam.WaterTemp], told[coldseam.Discharge], len(missed))
	slices.SortStableFunc(missed, func(a, b miss) int { return cmp.Compare(b.size, a.size) })
	for i, m := range missed {
		if i == shownLines {
			fmt.Fprintf(w, "and %d more, smaller ones\n", len(missed)-i)
			break
		}
		fmt.Fprintln(w, m.text)
	}
	fmt.Fprintln(w)
	return bk.PrintIssued(ctx, w)
}

// graded are the misses of one brief; told counts what could be judged.
func (bk *Season) graded(ctx context.Context, r coldseam.Reach, b coldseam.Brief,
	told map[coldseam.Parameter]int) (out []miss, err error) {
	win, ok := b.Best()
	if !ok || win.End.After(bk.Now()) {
		return nil, nil
	}
	temp := r.Site
	if r.TempSite != "" {
		temp = r.TempSite
	}

	for _, x := range []struct {
		name  string
		param coldseam.Parameter
		site  coldseam.SiteID
		fact  coldseam.Fact
		least float64 // half width below which a gauge cannot judge
		came  func([]float64) float64
		show  func(float64) string
	}{
		{"water", coldseam.WaterTemp, temp, b.Temp, .25, mean, bk.water},
		{"flow", coldseam.Discharge, r.Site, b.Flow, .02 * b.Flow.Window[1], slices.Max[[]float64], bk.flow},
	} {
		if !x.fact.WindowOK {
			continue
		}
		s, err := bk.DB.History(ctx, x.site, x.param, coldseam.Instant, win.Start, win.End, bk.Now())
		if errors.Is(err, coldseam.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		values := usable(s, win.Start, win.End)
		if len(values) == 0 {
			continue
		}

		told[x.param]++
		v, lo, hi := x.came(values), x.fact.Window[0], x.fact.Window[2]
		half := max((hi-lo)/2, x.least)
		if beyond := math.Abs(v-(lo+hi)/2) - half; beyond > 0 {
			out = append(out, miss{beyond / half, fmt.Sprintf("%s, %s issued %s: %s %s to %s told, %s came", r.ID, b.Day,
				b.Issued.In(env.Zone(r.Zone)).Format("2 Jan 15:04"), x.name, x.show(lo), x.show(hi), x.show(v))})
		}
	}
	return out, nil
}

func usable(s coldseam.Series, from, to time.Time) (out []float64) {
	for _, o := range s.Obs {
		if o.Flag.Usable() && !o.At.Before(from) && !o.At.After(to) {
			out = append(out, o.Value)
		}
	}
	return out
}

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func (bk *Season) water(c float64) string {
	if bk.Config.Club.Units == "metric" {
		return fmt.Sprintf("%.1f C", c)
	}
	return fmt.Sprintf("%.1f F", coldseam.F(c))
}

func (bk *Season) flow(m3s float64) string {
	if bk.Config.Club.Units == "metric" {
		return fmt.Sprintf("%.3g m3/s", m3s)
	}
	return fmt.Sprintf("%.0f cfs", coldseam.CFS(m3s))
}
