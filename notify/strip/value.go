package strip

import (
	"cmp"
	"fmt"
	"io"
	"text/tabwriter"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

var valueOf = map[string]string{
	"trips":  "by the trip log: good from %.2g fish a line hour",
	"counts": "by the counter: good from %.3g fish a day, six tenths of the counted days of a season below",
}

// nameOf is a rival or a ranking in words.
func nameOf(name string) string {
	words := map[string]string{"odds": "the odds of the word", "day_of_year": "the date in other years"}
	return cmp.Or(words[name], name)
}

// Value prints what the words were worth, in good mornings.
func Value(w io.Writer, v coldseam.SeasonValue) error {
	fmt.Fprintf(w, "\nworth "+valueOf[v.Source]+"; %d mornings with both\n", v.Good, v.Known)
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "word\tgood\tof\t90 % interval")
	for _, x := range words[:3] {
		s := v.Words[x.String()]
		if s.N == 0 {
			fmt.Fprintf(tw, "%s\t-\t0\t-\n", x)
			continue
		}
		fmt.Fprintf(tw, "%s\t%d\t%d\t%.0f-%.0f %%\n", x, s.Good, s.N, 100*s.Lo, 100*s.Hi)
	}
	if err := tw.Flush(); err != nil {
		return err
	}

	fmt.Fprintln(w, notify.EvidenceWords(v.Evidence))
	fmt.Fprintf(w, "without a GO: %d poor mornings, drives saved; %d good ones missed\n", v.Saved, v.Missed)
	fmt.Fprintf(w, "a drive costs %.1f of a good morning; going on GO alone came to %+.1f\n", v.Cost, v.Net)
	for _, r := range v.Baselines {
		fmt.Fprintf(w, "  %s %+.1f, the word better by %+.1f (90 %% interval %+.1f to %+.1f)\n", nameOf(r.Name), r.Net,
			r.Gain.Value, r.Gain.Lo, r.Gain.Hi)
	}

	fmt.Fprintln(w, "how often a good morning ranks above a poor one; .50 is a coin")
	for _, r := range v.Ranks {
		if r.N == 0 {
			fmt.Fprintf(w, "  %s: not known\n", nameOf(r.Name))
			continue
		}
		fmt.Fprintf(w, "  %s %.2f (90 %% interval %.2f to %.2f), %d mornings\n", nameOf(r.Name), r.AUC.Value, r.AUC.Lo, r.AUC.Hi,
			r.N)
	}
	return nil
}
