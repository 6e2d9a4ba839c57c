package notify

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// below collects what stands under the fold: every stop and caution, hazards,
// spots, inputs with their age, sources.
func (k *block) below(f format) {
	b := k.Brief
	if k.Verdict != coldseam.Stop && len(b.Stops) > 0 || len(b.Stops) > 1 {
		k.add("Stops", k.reasons(f, b.Stops))
	}
	k.add("Cautions", k.reasons(f, b.Cautions))
	k.add("Hazards of the reach", k.hazards(f))
	k.add("Why", k.whys(f))
	k.add("How sure", k.sure(f))
	k.add("Launch", f.launch(b.Launch, b.Stage))
	if k.Verdict.ShowsOdds() {
		k.add("Weight by spot", k.spots(f))
		if k.Verdict != coldseam.Stay {
			k.add("How, in full", k.howInFull(f))
		}
		k.add("To measure next", k.reasons(f, b.Measure))
	}
	k.add("What this rests on", k.inputs(f))
	k.add("Rules", k.rules(nil))
	k.mailed(f)
}

// furtherCautions are those that the top of a mail does not tell.
const furtherCautions = "Further cautions"

// mailed is what of it stands in a mail: dangers and reasons whole, but for the
// cautions that the top tells in full; the weights in short, of the inputs those
// that are not good. The rest is on the river's page.
func (k *block) mailed(f format) {
	k.Spots, k.SpotNotes = k.spotTable(f)
	told, top := k.told(), foldText(*k)
	for _, s := range k.Below {
		switch s.Title {
		case "How, in full", "To measure next", "Weight by spot", "Launch":
			continue // the weights are a table, a drowned ramp stands among the cautions
		case "Cautions":
			n := len(s.Items)
			s.Items = slices.DeleteFunc(slices.Clone(s.Items), func(x string) bool {
				return slices.ContainsFunc(top, func(line string) bool { return len(line) > labelWidth && line[labelWidth:] == plain(x) })
			})
			if len(s.Items) < n {
				s.Title = furtherCautions
			}
		case "Hazards of the reach":
			s.Items = slices.DeleteFunc(slices.Clone(s.Items), func(x string) bool {
				return x == k.lifeLine(f) && strings.Contains(told, x)
			})
		case "Why":
			b := *k
			b.Brief.Reasons = slices.DeleteFunc(slices.Clone(b.Brief.Reasons), func(r coldseam.Reason) bool {
				return r.Kind == "odds" // stands in the first line
			})
			s.Items = b.whys(f)
		case "What this rests on":
			s.Title, s.Items = "Not as it should be", k.doubtful(f)
		case "Rules":
			s.Items = k.rules(webLink) // the foot has the link and when it was read
		}
		if len(s.Items) > 0 {
			k.Mailed = append(k.Mailed, s)
		}
	}
}

// told are the facts in one text.
func (k *block) told() string {
	var all strings.Builder
	for _, x := range k.Facts {
		for _, item := range x.Items {
			all.WriteString(joinParts(item) + "\n")
		}
	}
	return all.String()
}

// doubtful are the inputs that are missing, old or not trusted, and those that
// something was made of.
func (k *block) doubtful(f format) []string {
	var bad []coldseam.Input
	for _, in := range k.Brief.Inputs {
		if !inputGood(in) || f.doubt(in) != "" {
			bad = append(bad, in)
		}
	}
	b := *k
	b.Brief.Inputs = bad
	return b.inputs(f)
}

// launch tells where to put in, how to get there and where to leave the car, and
// how far the river is from the ramp's mark.
func (f format) launch(l coldseam.Launch, stage coldseam.Fact) []string {
	var out []string
	for _, s := range []string{clean(l.Text), clean(l.Access), clean(l.Parking)} {
		if s != "" {
			out = append(out, s)
		}
	}
	if (l.Lat != 0 || l.Lon != 0) && finite(l.Lat) && finite(l.Lon) {
		out = append(out, fmt.Sprintf("launch at %.5f, %.5f", l.Lat, l.Lon))
	}
	if l.DrownsM != nil {
		s := "the ramp is under water from stage " + f.quantity("stage_m", *l.DrownsM)
		if stage.NowOK {
			s += "; it reads " + f.quantity("stage_m", stage.Now)
		}
		out = append(out, s)
	}
	return out
}

func (k *block) add(title string, items []string) {
	if len(items) > 0 {
		k.Below = append(k.Below, section{title, items})
	}
}

func (k *block) reasons(f format, rs []coldseam.Reason) []string {
	var out []string
	for _, r := range rs {
		s := f.reason(r)
		if says := f.reasonLine(r, k.Brief.Day); says != "" {
			s += " (" + says + ")"
		}
		out = append(out, s)
	}
	return out
}

// whys are the remaining reasons. Without odds only what says nothing of odds
// may stand.
func (k *block) whys(f format) []string {
	var out []string
	main, headed := mainMissing(k.Brief)
	for _, r := range k.Brief.Reasons {
		if f.noOdds && (r.Kind == "odds" || r.Kind == "cap") {
			continue
		}
		if headed && k.Verdict == coldseam.NoCall && r.Same(main) {
			continue // stands in the verdict already
		}
		out = append(out, f.reason(r))
	}
	return out
}

func (k *block) hazards(f format) []string {
	var out []string
	for _, h := range k.Brief.Hazards {
		out = append(out, clean(h))
	}
	if !k.Brief.Surveyed {
		out = append(out, "hazards not surveyed")
	}
	if l := k.lifeLine(f); l != "" {
		out = append(out, l)
	}
	return out
}

func (k *block) spots(f format) []string {
	var out []string

	for _, j := range k.Brief.Jig {
		name := spotWords(f, j)
		if name == "" {
			name = "spot " + strconv.Itoa(len(out)+1)
		}
		if j.TieOz <= 0 || !finite(j.TieOz) {
			out = append(out, name+": "+withheld(f, j, k.Brief.Jig))
			continue
		}

		s := name + ": tie " + f.weight(j.TieOz)
		if finite(j.TieHolds) && j.TieHolds > 0 {
			s += ", holds " + odds(j.TieHolds)
		}
		if j.NextOz > j.TieOz {
			s += "; " + f.weight(j.NextOz) + " if you lose bottom"
		}

		for _, w := range []string{clean(j.Body), lineName(j.Line), f.words(j.LineLies), f.words(j.Dunes)} {
			if w != "" {
				s += "; " + w
			}
		}
		for _, w := range j.Warnings {
			s += "; " + f.reason(w)
		}
		out = append(out, s)
	}

	return out
}

// lineName writes the key of a line, "braid-0.14", as an angler says it.
func lineName(key string) string {
	kind, mm, ok := strings.Cut(clean(key), "-")
	if _, err := strconv.ParseFloat(mm, 64); !ok || err != nil {
		return clean(key)
	}
	return mm + nbsp + "mm " + kind
}

// howInFull is the advice row behind the How line.
func (k *block) howInFull(f format) []string {
	h := f.how(k.Brief.How)
	rows := [][2]string{
		{"pace", h.Cadence}, {"body", clean(k.Brief.How.Body)}, {"hook", clean(k.Brief.How.Hook)}, {"leader", h.Leader},
		{"colour", h.Colour}, {"bait", h.Bait},
	}
	for _, o := range h.Others {
		rows = append(rows, [2]string{"or", o})
	}
	var out []string
	for _, r := range rows {
		if r[1] != "" {
			out = append(out, r[0]+": "+r[1])
		}
	}
	return append(out, h.Notes...)
}

func (k *block) inputs(f format) []string {
	var out []string

	for _, in := range k.Brief.Inputs {
		name := inputName(in)
		s := name + ": " + clean(in.State)
		if in.Key == "ice" && k.Brief.Ice.Code != "" {
			out = append(out, name+": "+f.reason(k.Brief.Ice))
			continue
		}

		if !in.At.IsZero() {
			at := f.dayClock(in.At, k.Brief.Day)
			if in.Age >= 72*time.Hour { // a weekday would be ambiguous
				at = in.At.In(f.zone).Format("2 Jan")
			}
			s += ", " + at + " (" + hours(in.Age) + " old"
			if in.Limit > 0 && !inputGood(in) { // the limit belongs to its breach
				s += ", limit " + hours(in.Limit)
			}
			s += ")"
		}

		for _, n := range []string{f.doubt(in), f.notes(in.Note)} {
			if n != "" {
				s += "; " + n
			}
		}
		out = append(out, s)
	}

	return out
}

// rules are those on file, each with when it was read, but where its link says so.
func (k *block) rules(says func(link string) bool) []string {
	var out []string
	for _, r := range k.Brief.Rules {
		s := strings.TrimSuffix(clean(r.Text), ".")
		if s == "" {
			continue
		}
		if says == nil || !says(clean(r.Link)) {
			s += " (" + checked(r) + ")"
		}
		out = append(out, s)
	}
	return out
}

// checked says when and by whom a rule was read last.
func checked(r coldseam.Rule) string {
	if r.CheckedOn.IsZero() {
		return "never checked"
	}
	s := "last checked " + r.CheckedOn.UTC().Format("2 January 2006")
	if by := clean(r.CheckedBy); by != "" {
		s += " by " + by
	}
	return s
}
