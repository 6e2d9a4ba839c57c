// Package strip prints and draws a replayed season: one cell a morning, the
// counts behind it and what was assumed.
package strip

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// assumedWords say what stands for inputs that nobody kept.
var assumedWords = map[string]string{
	"daily_means":        "means of whole days stand for the gauge's readings; the mean of a day is known at its end",
	"air_climatology":    "no air forecast: the models take the usual air of the date",
	"air_observed":       "the air to come as it was measured: an upper bound, not what was known",
	"weather_calm":       "weather is not on record: none stops",
	"alerts_none":        "warnings are not on record: none stops",
	"rule_of_today":      "the season rule of today, without one always open",
	"limit_proposed":     "the flow limit is the smallest that the record proposed by then",
	"reach_bare":         "one deep hole, 2.5 m at the usual flow with .5 m/s over it; hazards surveyed, limit confirmed; walleye",
	"sounded_usual_flow": "depths without the flow of their day were sounded at the usual flow",
	"thirds_other_years": "each morning is ranked among those of all other years, later ones too",
	"no_gauge":           "no gauge: the record has no discharge, and nothing is decided without",
}

// letters of the words. Small ones stand on mornings whose stops were not all
// replayed: what the others allowed is no advice.
var letters = map[coldseam.Verdict]string{
	coldseam.Go: "G", coldseam.TossUp: "T", coldseam.Stay: "S", coldseam.Stop: "#", coldseam.NoCall: "?",
}

const legend = "G GO  T TOSS-UP  S STAY  # STOP  ? NO CALL; small letters: not all stops could be replayed, what the others allowed"

func letter(c coldseam.ReplayCell) string {
	if len(c.NotReplayed) > 0 {
		return strings.ToLower(letters[c.Word])
	}
	return letters[c.Word]
}

// Units print numbers: us or metric.
type Units string

func (u Units) flow(m3s *float64) string {
	switch {
	case m3s == nil:
		return "-"
	case u == "metric":
		return fmt.Sprintf("%.1f m3/s", *m3s)
	}
	return fmt.Sprintf("%.0f cfs", coldseam.CFS(*m3s))
}

func (u Units) water(c *float64) string {
	switch {
	case c == nil:
		return "-"
	case u == "metric":
		return fmt.Sprintf("%.1f C", *c)
	}
	return fmt.Sprintf("%.0f F", coldseam.F(*c))
}

// Text prints seasons of a reach: assumptions once, then strip and counts of
// each; with days a line for each morning.
func Text(w io.Writer, seasons []coldseam.Replay, u Units, days bool) error {
	for i, r := range seasons {
		if i > 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "%s, %s to %s, each morning by what was known then\n", r.Reach, r.From, r.To)
		if i == 0 {
			for _, a := range r.Assumed {
				fmt.Fprintf(w, "assumed: %s\n", cmp.Or(assumedWords[a], notify.CodeName(a)))
			}
			fmt.Fprintf(w, "not replayed: %s\n\n%s\n", cmp.Or(strings.Join(plain(notReplayed(r)), ", "), "nothing"),
				legend)
		}
		if err := text(w, r, u, days); err != nil {
			return err
		}
	}
	return nil
}

func text(w io.Writer, r coldseam.Replay, u Units, days bool) error {
	rows(w, r)
	fmt.Fprintln(w)
	if err := counts(w, r); err != nil {
		return err
	}
	if err := sentences(w, r, u); err != nil {
		return err
	}
	if !days {
		return nil
	}

	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "\nday\tword\todds alone\twater\tflow\ttie\tplace\trun\twhy")
	for _, c := range r.Cells {
		fmt.Fprintf(tw, "%s\t%s\n", c.Day, strings.Join(line(c, u), "\t"))
	}
	return tw.Flush()
}

// Word is the word of a cell. One that rests on stops that were not replayed is
// never told as it would be in a mail.
func Word(c coldseam.ReplayCell) string {
	if len(c.NotReplayed) > 0 && c.Word.ShowsOdds() {
		return "(" + c.Word.String() + ")"
	}
	return c.Word.String()
}

func odds(c coldseam.ReplayCell) string {
	if c.Odds == nil {
		return "-"
	}
	return c.OddsWord.String()
}

func tie(c coldseam.ReplayCell) string {
	if c.TieOz == nil {
		return "-"
	}
	return coldseam.OzName(*c.TieOz)
}

// why are the codes that made a cell's word.
func why(c coldseam.ReplayCell) []string {
	switch {
	case len(c.Stops) > 0:
		return c.Stops
	case len(c.Missing) > 0:
		return c.Missing
	}
	return c.Caps
}

func notReplayed(r coldseam.Replay) []string {
	var out []string
	for _, c := range r.Cells {
		for _, n := range c.NotReplayed {
			if !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	return out
}

func plain(codes []string) []string {
	var out []string
	for _, c := range codes {
		if n := notify.CodeName(c); !slices.Contains(out, n) {
			out = append(out, n)
		}
	}
	return out
}

// rows print the strip, a month a row, tens of days marked above.
func rows(w io.Writer, r coldseam.Replay) {
	if len(r.Cells) == 0 {
		return
	}
	fmt.Fprintf(w, "%-9s%s\n", "", "1        10        20        30")
	var line strings.Builder
	for i, c := range r.Cells {
		if i == 0 || c.Day.Day == 1 {
			line.Reset()
			fmt.Fprintf(&line, "%s %04d ", c.Day.Month.String()[:3], c.Day.Year)
			line.WriteString(strings.Repeat(" ", c.Day.Day-1))
		}
		line.WriteString(letter(c))
		if i+1 == len(r.Cells) || r.Cells[i+1].Day.Day == 1 {
			fmt.Fprintln(w, line.String())
		}
	}
}

// words in the order in which they are counted.
var words = []coldseam.Verdict{coldseam.Go, coldseam.TossUp, coldseam.Stay, coldseam.Stop, coldseam.NoCall}

// counts print the words by month and the longest run of each, a table.
func counts(w io.Writer, r coldseam.Replay) error {
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(tw, "mornings\t")
	for _, x := range words {
		fmt.Fprintf(tw, "%s\t", x)
	}
	months := map[string]map[coldseam.Verdict]int{}

	var order []string
	for _, c := range r.Cells {
		m := fmt.Sprintf("%s %04d", c.Day.Month.String()[:3], c.Day.Year)
		if months[m] == nil {
			months[m] = map[coldseam.Verdict]int{}
			order = append(order, m)
		}
		months[m][c.Word]++
	}

	for _, m := range order {
		fmt.Fprintf(tw, "\n%s\t", m)
		for _, x := range words {
			fmt.Fprintf(tw, "%d\t", months[m][x])
		}
	}

	fmt.Fprint(tw, "\nall\t")
	for _, x := range words {
		fmt.Fprintf(tw, "%d\t", r.Counts[x.String()])
	}
	fmt.Fprint(tw, "\nlongest run\t")
	for _, x := range words {
		fmt.Fprintf(tw, "%d\t", longest(r.Cells, x))
	}
	fmt.Fprintln(tw)
	return tw.Flush()
}

// sentences print what else is counted, a line each: fishable mornings, changes,
// stops, what came of the forecasts and what the words were worth.
func sentences(w io.Writer, r coldseam.Replay, u Units) error {
	f := r.Fishable
	if f.N > 0 {
		share := func(n int) float64 { return 100 * float64(n) / float64(f.N) }
		fmt.Fprintf(w, "of %d fishable mornings (no stop, water to 55 F): GO %.0f %%, TOSS-UP %.0f %%, STAY %.0f %%\n",
			f.N, share(f.Go), share(f.TossUp), share(f.Stay))
	}
	fmt.Fprintf(w, "GO to STAY or back overnight: %d; changes of place: %d, of weight: %d; flow limit %s\n", r.Flips,
		r.PlaceChanges, r.WeightChanges, u.flow(r.LimitM3S))

	for _, l := range []struct {
		name string
		get  func(coldseam.ReplayCell) []string
	}{
		{"stopped", func(c coldseam.ReplayCell) []string { return c.Stops }},
		{"missing", func(c coldseam.ReplayCell) []string { return c.Missing }},
		{"capped", func(c coldseam.ReplayCell) []string { return c.Caps }},
	} {
		if days := daysOf(r.Cells, l.get); len(days) > 0 {
			fmt.Fprintf(w, "%s, days: %s\n", l.name, strings.Join(days, ", "))
		}
	}

	fmt.Fprintln(w, gist(r))
	if spells := spells(r.Cells); len(spells) > 0 {
		fmt.Fprintf(w, "spells of each stop, and after how many the river was higher three days on: %s\n",
			strings.Join(spells, "; "))
	}
	came(w, r, u)
	if r.Value != nil {
		return Value(w, *r.Value)
	}
	return nil
}

// came prints the forecasts of the same mornings against what came.
func came(w io.Writer, r coldseam.Replay, u Units) {
	off := func(x coldseam.ForecastScore, v float64) string {
		switch {
		case x.Quantity == "flow":
			return fmt.Sprintf("%.0f %%", 100*v)
		case u == "metric":
			return fmt.Sprintf("%.1f C", v)
		}
		return fmt.Sprintf("%.1f F", 1.8*v)
	}
	for _, x := range r.Forecasts {
		fmt.Fprintf(w, "%s, day %d: off by %s, the day before by %s; four in five range held %.0f %% of %d\n",
			x.Quantity, x.Lead, off(x, x.Off), off(x, x.Persistence), 100*x.Held, x.N)
	}
	events := map[string]string{"rise": "flow up 30 %% within %d days", "band_shift": "another band after %d days"}
	for _, x := range r.Events {
		fmt.Fprintf(w, events[x.What]+": %.1f said, %.0f came of %d; Brier %.3f, the usual share %.3f\n", x.Days, x.Said,
			x.Came, x.N, x.Brier, x.Usual)
	}
}

// gist is a season in a sentence.
func gist(r coldseam.Replay) string {
	limit := 0
	for _, c := range r.Cells {
		if slices.Contains(c.Stops, "max_flow") || slices.Contains(c.Stops, "max_flow_forecast") {
			limit++
		}
	}
	return fmt.Sprintf("this would have said GO on %d mornings, STOP on %d, %d of them by the flow limit",
		r.Counts[coldseam.Go.String()], r.Counts[coldseam.Stop.String()], limit)
}

// Short is the strips of seasons with a sentence each, as the river's page shows
// them; "" without a season.
func Short(seasons []coldseam.Replay) string {
	var b strings.Builder
	for _, r := range seasons {
		rows(&b, r)
		fmt.Fprintf(&b, "%s to %s: %s\n\n", r.From, r.To, gist(r))
	}
	if b.Len() > 0 {
		b.WriteString(strings.ReplaceAll(legend, "; ", "\n"))
	}
	return b.String()
}

// Told holds the words that the mornings of a year were told against those of the
// replay: a line of counts, then each morning that would read otherwise.
func Told(name string, seasons []coldseam.Replay, told map[coldseam.Date]coldseam.Verdict, year int) []string {
	var other []string
	n := 0
	for _, r := range seasons {
		for _, c := range r.Cells {
			was, ok := told[c.Day]
			if !ok || c.Day.Year != year {
				continue
			}
			n++
			if was != c.Word {
				line := fmt.Sprintf("%s, %s: told %s, replayed %s", name, c.Day, was, Word(c))
				if codes := plain(why(c)); len(codes) > 0 {
					line += ", " + strings.Join(codes, ", ")
				}
				other = append(other, line)
			}
		}
	}
	if n == 0 {
		return nil
	}
	return append([]string{fmt.Sprintf("%s: %d of %d mornings read as they were told", name, n-len(other), n)}, other...)
}

// spells counts for each stop how often it began, and after how many of these
// days the river was higher three days later: whether the rise went on. Days
// without a reading then are not counted.
func spells(cells []coldseam.ReplayCell) []string {
	began, higher := map[string]int{}, map[string]int{}
	for i, c := range cells {
		if i+3 >= len(cells) || c.FlowM3S == nil || cells[i+3].FlowM3S == nil {
			continue
		}

		for _, stop := range plain(c.Stops) {
			if i > 0 && slices.Contains(plain(cells[i-1].Stops), stop) {
				continue
			}
			began[stop]++
			if *cells[i+3].FlowM3S > *c.FlowM3S {
				higher[stop]++
			}
		}
	}

	keys := slices.Sorted(maps.Keys(began))
	for i, k := range keys {
		keys[i] = fmt.Sprintf("%s %d, %d", k, began[k], higher[k])
	}
	return keys
}

// daysOf counts the mornings of each code, most first.
func daysOf(cells []coldseam.ReplayCell, get func(coldseam.ReplayCell) []string) []string {
	n := map[string]int{}
	for _, c := range cells {
		for _, name := range plain(get(c)) {
			n[name]++
		}
	}
	keys := slices.SortedFunc(maps.Keys(n), func(a, b string) int { return cmp.Or(n[b]-n[a], cmp.Compare(a, b)) })
	for i, k := range keys {
		keys[i] = fmt.Sprintf("%s %d", k, n[k])
	}
	return keys
}

func longest(cells []coldseam.ReplayCell, v coldseam.Verdict) int {
	most, n := 0, 0
	for _, c := range cells {
		n++
		if c.Word != v {
			n = 0
		}
		most = max(most, n)
	}
	return most
}

// Compare prints the mornings whose word differs from an earlier replay's, and
// what stopped, was missing or capped in each.
func Compare(w io.Writer, before, now coldseam.Replay) error {
	old := map[coldseam.Date]coldseam.ReplayCell{}
	for _, c := range before.Cells {
		old[c.Day] = c
	}
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "day\tbefore\tnow\tbecause before\tbecause now")

	changed, both := 0, 0
	for _, c := range now.Cells {
		o, ok := old[c.Day]
		if !ok {
			continue
		}
		both++
		if o.Word == c.Word {
			continue
		}
		changed++
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\n", c.Day, o.Word, c.Word, strings.Join(plain(why(o)), ", "),
			strings.Join(plain(why(c)), ", "))
	}

	if changed > 0 {
		if err := tw.Flush(); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(w, "%d of %d mornings changed their word\n", changed, both)
	return err
}
