package capalert

import (
	"fmt"
	"hash/fnv"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// builder fills one alert.
type builder struct {
	d      *doc
	a      *coldseam.Alert
	n      *ingest.Node
	shown  *ingest.Node // info whose texts are shown
	worst  int          // severity rank so far
	ended  bool         // every event line says cancelled, expired or upgraded
	lines  int
	ends   []time.Time // the ends given, one an info
	noEnd  bool        // an info said nothing, or until further notice
	longer time.Time   // greatest expiry where no event end is said
	seen   map[string]bool
}

// once reports whether a word of a kind comes for the first time.
func (b *builder) once(kind, word string) bool {
	if b.seen == nil {
		b.seen = map[string]bool{}
	}
	k := kind + "\x00" + word
	if b.seen[k] {
		return false
	}
	b.seen[k] = true
	return true
}

func (b *builder) defect(format string, args ...any) {
	if len(b.a.Defects) >= maxDefects {
		return
	}
	b.a.Defects = append(b.a.Defects, fmt.Sprintf(format, args...))
}

// single takes out what stands twice with different words where the standard has it
// once: what is missing counts as the worst. Events are joined, as none may be lost.
func (b *builder) single(n *ingest.Node, names ...string) {
	for _, name := range names {
		var words []string
		for _, k := range n.Named(name) {
			if !slices.Contains(words, k.Val()) {
				words = append(words, k.Val())
			}
		}
		if len(words) < 2 {
			continue
		}
		b.defect("%s stands twice", name)
		n.Kids = slices.DeleteFunc(slices.Clone(n.Kids), func(k *ingest.Node) bool { return k.Local == name })
		if name == "event" {
			n.Kids = append(n.Kids, el(name, strings.Join(words[:min(len(words), maxDefects)], "; ")))
		}
	}
}

// head checks what every message must carry.
func (b *builder) head() {
	a := b.a
	a.Sent = b.time(b.n.Word("sent"), "sent")
	if a.Identifier == "" {
		h := fnv.New64a()
		fmt.Fprintf(h, "%s|%s|%s", a.Sender, b.n.Word("sent"), b.n.Text)
		for _, i := range b.n.Named("info") {
			fmt.Fprintf(h, "|%s|%s|%s", i.Word("event"), i.Word("headline"), i.Word("description"))
		}
		a.Identifier = fmt.Sprintf("unnamed-%016x", h.Sum64())
		b.defect("identifier is missing")
	}

	for _, f := range []struct{ name, v string }{{"sender", a.Sender}, {"sent", b.n.Word("sent")}, {"status", a.Status},
		{"msgType", a.MsgType}, {"scope", b.n.Word("scope")}} {
		if f.v == "" {
			b.defect("%s is missing", f.name)
		}
	}

	if a.MsgType == "" {
		a.MsgType = "Alert"
	}
	if a.Status == "" {
		a.Status = "Actual" // the worst plausible case
	}
	if strings.EqualFold(a.MsgType, "Update") && len(a.References) == 0 {
		b.defect("an update without references")
	}

	for _, r := range a.References {
		if strings.Count(r, ",") != 2 {
			b.defect("reference %q is no sender,identifier,sent", clip(r))
		}
	}
}

// time reads a CAP time; a damaged one is a defect and zero.
func (b *builder) time(text, what string) time.Time {
	if text == "" {
		return time.Time{}
	}
	s, err := b.d.times.Parse(text, "")
	if err != nil || s.Precision != ingest.ToInstant {
		b.defect("%s %q is no time", what, clip(text))
		return time.Time{}
	}
	return s.At
}

// infos joins the info blocks: several languages of one alert, or one language
// with several areas or phases. Areas and codes of all count, and the worst
// severity; the texts are those of the wanted language.
func (b *builder) infos() {
	infos := b.n.Named("info")
	if len(infos) == 0 && !strings.EqualFold(b.a.MsgType, "Cancel") {
		b.defect("info is missing")
		b.a.Severity, b.noEnd = "Unknown", true
	}

	b.worst, b.ended = -1, true
	shownRank := -1
	for _, i := range infos {
		b.single(i, "event", "urgency", "severity", "certainty", "effective", "onset", "expires")
		b.info(i)
		rank := 10*b.language(i) + severityRank(i.Word("severity"))
		if rank > shownRank {
			shownRank, b.shown = rank, i
		}
	}

	if b.shown == nil {
		return
	}
	b.a.Event, b.a.Headline = b.shown.Word("event"), flat(b.shown.Word("headline"))
	b.a.Urgency, b.a.Certainty = b.shown.Word("urgency"), b.shown.Word("certainty")
	for _, i := range infos { // another kind of event in the same language must not be lost
		e := i.Word("event")
		if b.language(i) == b.language(b.shown) && i.Word("language") == b.shown.Word("language") && e != "" &&
			len(b.a.Event) < maxEventText && !strings.Contains(b.a.Event, e) {
			b.a.Event += "; " + e
		}
	}

	if b.a.Headline == "" {
		b.a.Headline = b.a.Event
	}
}

// flat makes one line of a text, which often begins with a line end.
func flat(s string) string { return strings.Join(strings.Fields(s), " ") }

// language ranks an info: 2 the wanted language, 1 none named (the standard
// says en-US) or English, 0 another.
func (b *builder) language(i *ingest.Node) int {
	want := strings.ToLower(b.d.p.Fields[FieldLanguage])
	if want == "" {
		want = "en"
	}
	got := strings.ToLower(i.Word("language"))
	if got == "" {
		got = "en-us"
	}
	base, _, _ := strings.Cut(got, "-")
	switch {
	case got == want, base == want:
		return 2
	case base == "en":
		return 1
	}
	return 0
}

// severityRank: an empty or unknown severity ranks with the worst.
func severityRank(s string) int {
	switch strings.ToLower(s) {
	case "minor":
		return 0
	case "moderate":
		return 1
	case "severe":
		return 2
	case "extreme":
		return 4
	}
	return 3
}

func (b *builder) info(i *ingest.Node) {
	for _, name := range []string{"event", "urgency", "severity", "certainty"} {
		if i.Word(name) == "" {
			b.defect("%s is missing", name)
		}
	}

	sev := i.Word("severity")
	if severityRank(sev) == 3 {
		sev = "Unknown"
	}
	if r := severityRank(sev); r > b.worst {
		b.worst, b.a.Severity = r, sev
	}
	for _, c := range i.Named("eventCode") {
		b.code(c.Word("valueName") + "=" + c.Word("value"))
	}

	from := b.a.Sent
	for _, name := range []string{"onset", "effective"} {
		if t := b.time(i.Word(name), name); !b.far(t) {
			from = latest(from, t)
		} else {
			b.defect("%s lies years ahead", name)
		}
	}

	if b.a.From.IsZero() || from.Before(b.a.From) {
		b.a.From = from
	}
	b.endOf(i)
	for _, ar := range i.Named("area") {
		b.area(ar)
	}
}

func (b *builder) code(c string) {
	if b.once("code", c) {
		b.a.EventCodes = append(b.a.EventCodes, c)
	}
}

func latest(ts ...time.Time) time.Time {
	var out time.Time
	for _, t := range ts {
		if t.After(out) {
			out = t
		}
	}
	return out
}

// endOf finds the end of the event: the parameter eventEndingTime, else the
// end in the event line (VTEC), else expires, which for some services is only
// the end of the message.
func (b *builder) endOf(i *ingest.Node) {
	said := b.time(i.Word("ends"), "ends")
	notice := false
	for _, p := range i.Named("parameter") {
		switch strings.ToLower(p.Word("valueName")) {
		case "awareness_type": // of European services: "12; Flooding"
			kind, _, _ := strings.Cut(p.Word("value"), ";")
			b.code("awareness_type=" + strings.TrimSpace(kind))
		case "eventendingtime":
			said = latest(said, b.time(p.Word("value"), "eventEndingTime"))
		case "vtec":
			end, until := b.vtec(p.Word("value"))
			notice = notice || until
			if said.IsZero() {
				said = end
			}
		}
	}

	expires := b.time(i.Word("expires"), "expires")
	if b.far(latest(said, expires)) {
		said = coldseam.FurtherNotice
	}

	switch {
	case !said.IsZero():
		b.ends = append(b.ends, said)
	case notice || expires.IsZero():
		b.noEnd, b.longer = true, latest(b.longer, expires)
	default:
		b.ends = append(b.ends, expires)
	}
}

// far reports whether a time lies so far ahead that it is none.
func (b *builder) far(t time.Time) bool {
	from := b.a.Sent
	if from.IsZero() { // damaged: only what no calendar of people reaches
		from = time.Date(9000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	return t.After(from.Add(farEnd))
}

// end settles begin and end of the whole alert.
func (b *builder) end() {
	a := b.a
	if a.From.IsZero() {
		a.From = a.Sent
	}
	a.End = latest(b.ends...)
	if b.noEnd || a.End.IsZero() {
		if last := latest(a.From.Add(assumedLife), b.longer); !a.From.IsZero() && last.After(a.End) {
			a.End, a.EndAssumed = last, true
		}
	}

	if b.lines > 0 && b.ended {
		a.End, a.EndAssumed = a.Sent, false
		return
	}

	if !a.End.IsZero() && !a.End.After(a.From) {
		b.defect("ends %s, not after it begins", a.End.Format(time.RFC3339))
		a.End, a.EndAssumed = a.From.Add(assumedLife), true
	}
}

// assumedLife of an alert that names no end, after it was sent or, if later,
// begins [proposal].
const assumedLife = 24 * time.Hour

// farEnd is the time after sending beyond which an end is none: services write
// 9999-12-31 for "until further notice" [proposal].
const farEnd = 2 * 365 * 24 * time.Hour
