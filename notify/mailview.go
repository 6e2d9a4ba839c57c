package notify

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// fullBlocks is how many rivers a mail tells in full; the others get one line
// each with a link.
const fullBlocks = 4

// mailView is a mail as both templates see it.
type mailView struct {
	Kind      coldseam.MailKind
	Subject   string
	Preheader string
	Title     string      // the one h1 of kinds without a verdict box
	Lead      string      // "Sat 10 April, read 4:50. Two rivers, stops first."
	Intro     []string    // sentences before the first block
	Closing   string      // when it was made, of kinds without a brief
	Board     []boardLine // of several rivers
	Blocks    []riverView
	Outlook   []outlookRow
	Button    *button
	OpenLogs  []button
	Staff     bool // explain the staff of odds
	Thirds    bool // explain that of a rank
	Page      string
	HowPage   string
	Prefs     string
	Leave     string
	Calendar  string
	Sources   []coldseam.Attribution
	Rules     []RuleLink
	Before    string // caution
	After     string
	NoRule    string
	Water     string // the caution's sentences on the water and on the rules
	Season    string
	Club      string
	Seal      string // of the newest brief told
}

// riverView is a block with its links and picture.
type riverView struct {
	block
	First   bool
	Lines   []string // text part
	Page    string
	Short   bool   // the HTML leaves the small print out
	CID     string // of the chart, "" = none
	ImgW    int    // displayed size
	ImgH    int
	Key     string // what the chart's marks mean
	LogAsks []button
	OnRiver []button // the trip card, and the word from the bank
}

type button struct{ Text, Link string }

// view decides what the mail of this row says. n is the number of rivers told
// in full.
func (c *Composer) view(l coldseam.OutboxMessage, ct Content, charts map[coldseam.ReachID][]byte, n int) mailView {
	p := l.Subscriber.Prefs
	SortBriefs(ct.Briefs)
	v := mailView{
		Kind:    l.Kind,
		Subject: Subject(l.Kind, ct, p),
		Club:    clean(ct.Club),
		Page:    c.Links.Board(),
		HowPage: c.Links.How(),
		Rules:   ruleLinks(ct.Briefs),
		Before:  cautionBefore(),
		Water:   cautionWater(),
		Season:  cautionRules(),
		After:   cautionAfter(),
		NoRule:  noRuleLink,
		Sources: sources(ct.Briefs),
		Seal:    newestSeal(ct.Briefs),
	}

	if id := l.Subscriber.ID; id != 0 {
		v.Leave = c.Links.Unsubscribe(id)
		if l.Kind != coldseam.MailConfirm {
			v.Prefs, v.Calendar = c.Links.Prefs(id, l.CreatedAt), c.Links.Calendar(id)
		}
	}

	switch l.Kind {
	case coldseam.MailOutlook:
		c.viewOutlook(&v, p, ct)
	case coldseam.MailMorning, coldseam.MailFlip, coldseam.MailCorrection:
		c.viewBriefs(&v, l, ct, charts, n)
	default:
		c.viewNotice(&v, l, ct)
	}

	return v
}

// sealDigits of a seal are printed: 16 of 64 leave no second brief to be found.
const sealDigits = 16

// ShortSeal is a seal as it is printed.
func ShortSeal(seal string) string { return seal[:min(len(seal), sealDigits)] }

// newestSeal is the seal of the brief told last: it stands for all before it.
func newestSeal(briefs []coldseam.Brief) string {
	var last coldseam.Brief
	for _, b := range briefs {
		if b.ID >= last.ID && b.Seal != "" {
			last = b
		}
	}
	return ShortSeal(clean(last.Seal))
}

// smallPrint keeps the small print in the HTML of the first n rivers.
func (v *mailView) smallPrint(n int) {
	for i := range v.Blocks {
		v.Blocks[i].Short = i >= n
	}
}

func (c *Composer) viewBriefs(v *mailView, l coldseam.OutboxMessage, ct Content, charts map[coldseam.ReachID][]byte, n int) {
	p := l.Subscriber.Prefs
	keyed, keyedOdds := false, false
	full := inFull(ct.Briefs, n)
	v.Board = boardOf(ct.Briefs, p)

	for i, b := range ct.Briefs {
		k := blockOf(b, p)
		if !full[i] {
			v.Board[i].Link = c.Links.River(b.Reach)
			continue
		}

		r := riverView{block: k, First: len(v.Blocks) == 0, Lines: foldText(k), Page: c.Links.River(b.Reach)}
		// A correction goes out at once and alone: no picture, which could still
		// be the morning's.
		if w, h, ok := pictureSize(charts[b.Reach]); k.Chart && ok && l.Kind != coldseam.MailCorrection {
			r.CID, r.ImgW, r.ImgH = fmt.Sprintf("chart%d@%s", i+1, c.Domain), w, h
			if !keyed || k.Verdict.ShowsOdds() != keyedOdds { // once is enough
				keyed, keyedOdds = true, k.Verdict.ShowsOdds()
				r.Key = chartKey(keyedOdds)
			}
		}

		if k.Log && l.Subscriber.ID != 0 && l.Kind == coldseam.MailMorning {
			link := c.Links.Log(l.Subscriber.ID, b.Reach, b.Day, l.CreatedAt)
			for _, a := range logAnswers {
				r.LogAsks = append(r.LogAsks, button{a[1], link + "?a=" + a[0]})
			}
			r.OnRiver = []button{
				{"Trip card, offline", c.Links.Card(l.Subscriber.ID, b.Reach, b.Day, l.CreatedAt)},
				{"Seen from the bank", c.Links.Bank(l.Subscriber.ID, b.Reach, b.Day, l.CreatedAt)}}
		}
		v.Staff = v.Staff || k.Staff.Marks == 10
		v.Thirds = v.Thirds || k.Staff.Marks == 3
		v.Blocks = append(v.Blocks, r)
	}

	first := v.Blocks[0]
	f := formatFor(p, first.Brief.Zone)
	v.Lead = longDay(first.Brief.Day)
	if n := len(ct.Briefs); n > 1 { // one tells itself when it was made
		v.Lead += fmt.Sprintf(", read %s. %s", f.clock(first.Brief.Issued), countWords(n))
	}
	v.Preheader = preheader(first.block)
	if len(v.Board) > 0 {
		v.Preheader = boardPreheader(v.Board)
	}
	v.Intro = c.intro(l.Kind, ct, f, first.block)
	for _, o := range ct.OpenLogs {
		v.OpenLogs = append(v.OpenLogs, button{clean(o.River) + ", " + shortDay(o.Day),
			c.Links.Log(l.Subscriber.ID, o.Reach, o.Day, l.CreatedAt)})
	}
}

// chartKey names the marks of the chart. Without odds there is no window, and
// no chance in its words.
func chartKey(odds bool) string {
	if !odds {
		return "Dark: measured and the limit. Line: middle forecast; inner band: half of the forecasts, outer band: most of them."
	}
	return "Dark: measured. Line: middle forecast; inner band: half of the forecasts, outer band: 8" + nbsp + "in" +
		nbsp + "10. Grey bars: the fishing window."
}

// intro is what a correction or flip says before the block.
func (c *Composer) intro(kind coldseam.MailKind, ct Content, f format, k block) []string {
	switch kind {
	case coldseam.MailCorrection:
		s := k.Verdict.String() + " replaces " + ct.Was.String() + " for the " + k.River + "."
		if !ct.WasAt.IsZero() {
			s += " The " + ct.Was.String() + " sent at " + f.clock(ct.WasAt) + " no longer holds."
		}
		return []string{s}
	case coldseam.MailFlip:
		return []string{"The call for " + longDay(k.Brief.Day) + " has turned: " + k.Verdict.String() + ", was " +
			ct.Was.String() +
			". The morning mail has the last word."}
	}
	return nil
}

// preheader is the line a mail list shows after the subject: jig, window,
// stops.
func preheader(k block) string {
	if k.Verdict == coldseam.Stop {
		return "Do not launch. " + upperFirst(short(k.Head)) + "."
	}
	if k.Verdict == coldseam.NoCall {
		return "This is not a go. " + upperFirst(short(k.Head)) + "."
	}
	var s []string
	for _, want := range []string{"Jig", "Window", "Stops"} {
		for _, f := range k.Facts {
			if f.Label == want {
				told := strings.TrimSuffix(joinParts(f.Items[0]), ".")
				if want == "Stops" {
					told = "stops: " + told
				}
				s = append(s, upperFirst(told))
			}
		}
	}
	return strings.Join(s, ". ") + "."
}

// boardPreheader says the board in one line: what is known of each river beyond
// the subject.
func boardPreheader(board []boardLine) string {
	var s []string
	for _, l := range board {
		s = append(s, l.River+": "+l.Tail)
	}
	return strings.Join(s, ". ") + "."
}

// countWords says how many rivers, of two and more.
func countWords(n int) string {
	words := []string{2: "Two", 3: "Three", 4: "Four"}
	s := strconv.Itoa(n)
	if n < len(words) {
		s = words[n]
	}
	return s + " rivers, stops first, then the best."
}

func longDay(d coldseam.Date) string { return d.UTC().Format("Mon 2 January") }

// sources are the data agencies of the briefs, each once.
func sources(briefs []coldseam.Brief) []coldseam.Attribution {
	var out []coldseam.Attribution
	seen := map[string]bool{}
	for _, b := range briefs {
		for _, a := range b.Sources {
			a.Name, a.Text, a.Licence = clean(a.Name), clean(a.Text), clean(a.Licence)
			if !webLink(a.Link) {
				a.Link = ""
			}
			if s := sourceText(a); !seen[s] {
				seen[s] = true
				out = append(out, a)
			}
		}
	}
	return out
}

// MessageID is the id of a row's mail: the same on every retry, told apart by
// day, subscriber, mailing and, for a correction, river.
func MessageID(l coldseam.OutboxMessage, domain string) string {
	if l.MessageID != "" {
		return strings.Trim(clean(l.MessageID), "<> ")
	}
	day := l.LocalDate.UTC()
	if l.LocalDate.IsZero() {
		day = l.CreatedAt.UTC().Truncate(24 * time.Hour)
	}
	id := fmt.Sprintf("%s.%d.%d", day.Format("20060102"), l.Subscriber.ID, l.Mailing)
	if l.Kind != coldseam.MailMorning {
		id += "." + string(l.Kind)
	}
	if l.Reach != "" {
		id += "." + idSafe(string(l.Reach))
	}
	return id + "@" + domain
}

// idSafe keeps what may stand in a Message-ID without quoting.
func idSafe(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 0x80 && (r == '-' || r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z') {
			return r
		}
		return '-'
	}, s)
}
