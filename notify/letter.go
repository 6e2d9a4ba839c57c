package notify

import (
	"fmt"
	"strings"
	"time"

	"example.org/coldseam"
)

// fullBlocks is how many rivers a mail tells in full; the others get one line
// each with a link.
const fullBlocks = 4

// letter is a mail as both templates see it.
type letter struct {
	Kind      coldseam.MailKind
	Subject   string
	Preheader string
	Title     string   // the one h1 of kinds without a verdict box
	Lead      string   // "Sat 10 Apr, read 4:50. Two rivers, best first."
	Intro     []string // sentences before the first block
	Blocks    []riverView
	More      []moreLine
	Outlook   []outlookRow
	Button    *button
	OpenLogs  []button
	Staff     bool // explain the staff
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
	Club      string
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
	LogAsks []button
}

type button struct{ Text, Link string }

// moreLine is a river beyond the full ones.
type moreLine struct{ Text, Link string }

// outlookRow is one river of the weekend outlook.
type outlookRow struct {
	River string
	Days  []string
	Note  string
	Link  string
}

// view decides what the mail of this row says. n is the number of rivers told
// in full.
func (c *Composer) view(l coldseam.Letter, ct Content, charts map[coldseam.ReachID][]byte, n int) letter {
	p := l.Subscriber.Prefs
	v := letter{
		Kind: l.Kind, Subject: Subject(l.Kind, ct, p), Club: clean(ct.Club),
		Page: c.Links.Board(), HowPage: c.Links.How(),
		Rules: ruleLinks(ct.Briefs), Before: cautionBefore(), After: cautionAfter(), NoRule: noRuleLink,
		Sources: sources(ct.Briefs),
	}
	if id := l.Subscriber.ID; id != 0 {
		v.Leave = c.Links.Unsubscribe(id)
		if l.Kind != coldseam.MailConfirm {
			v.Prefs, v.Calendar = c.Links.Prefs(id, l.CreatedAt), c.Links.Calendar(id)
		}
	}
	switch l.Kind {
	case coldseam.MailOutlook:
		c.viewOutlook(&v, ct)
	case coldseam.MailMorning, coldseam.MailFlip, coldseam.MailCorrection:
		c.viewBriefs(&v, l, ct, charts, n)
	default:
		c.viewNotice(&v, l, ct)
	}
	return v
}

// smallPrint keeps the small print in the HTML of the first n rivers.
func (v *letter) smallPrint(n int) {
	for i := range v.Blocks {
		v.Blocks[i].Short = i >= n
	}
}

func (c *Composer) viewBriefs(v *letter, l coldseam.Letter, ct Content, charts map[coldseam.ReachID][]byte, n int) {
	p := l.Subscriber.Prefs
	for i, b := range ct.Briefs {
		k := blockOf(b, p)
		if i >= n {
			v.More = append(v.More, moreLine{moreText(k), c.Links.River(b.Reach)})
			continue
		}
		r := riverView{block: k, First: i == 0, Lines: foldText(k), Page: c.Links.River(b.Reach)}
		// A correction goes out at once and alone: no picture, which could still
		// be the morning's.
		if w, h, ok := pictureSize(charts[b.Reach]); k.Chart && ok && l.Kind != coldseam.MailCorrection {
			r.CID, r.ImgW, r.ImgH = fmt.Sprintf("chart%d@%s", i+1, c.Domain), w, h
		}
		if k.Log && l.Subscriber.ID != 0 && l.Kind == coldseam.MailMorning {
			link := c.Links.Log(l.Subscriber.ID, b.Reach, b.Day, l.CreatedAt)
			for _, a := range logAnswers {
				r.LogAsks = append(r.LogAsks, button{a[1], link + "?a=" + a[0]})
			}
		}
		v.Staff = v.Staff || k.Staff.Shown
		v.Blocks = append(v.Blocks, r)
	}
	first := v.Blocks[0]
	f := formatFor(p, first.Brief.Zone)
	v.Lead = fmt.Sprintf("%s, read %s. %s", longDay(first.Brief.Day), f.clock(first.Brief.Issued), countWords(len(ct.Briefs)))
	v.Preheader = preheader(first.block)
	v.Intro = c.intro(l.Kind, ct, f, first.block)
	for _, o := range ct.OpenLogs {
		v.OpenLogs = append(v.OpenLogs, button{clean(o.River) + ", " + shortDay(o.Day),
			c.Links.Log(l.Subscriber.ID, o.Reach, o.Day, l.CreatedAt)})
	}
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
		return []string{"The call for " + longDay(k.Brief.Day) + " has turned: " + k.Verdict.String() + ", was " + ct.Was.String() +
			". The morning mail has the last word."}
	}
	return nil
}

func (c *Composer) viewOutlook(v *letter, ct Content) {
	f := formatFor(coldseam.Preferences{}, ct.Briefs[0].Zone)
	v.Title = "Weekend outlook"
	v.Lead = "Made " + weekday(ct.Briefs[0].Day) + " " + f.clock(ct.Briefs[0].Issued) + ". Odds are for a good morning."
	v.Preheader = "Good-morning odds of the weekend, best river first."
	for _, b := range ct.Briefs {
		v.Outlook = append(v.Outlook, outlookOf(b, c.Links.River(b.Reach)))
	}
	v.Intro = []string{"Good until the morning mail of the day, which has the last word; later news: the pages of the rivers."}
}

// outlookOf tells the weekend of one river. A river that is stopped or without
// a call today has no odds here either.
func outlookOf(b coldseam.Brief, link string) outlookRow {
	f := formatFor(coldseam.Preferences{}, b.Zone)
	row := outlookRow{River: clean(b.River), Link: link}
	if !b.Verdict.ShowsOdds() || !b.OddsOK {
		k := blockOf(b, coldseam.Preferences{})
		row.Note = k.Verdict.String() + " today: " + plain(short(k.Head)) + ". No odds for the weekend yet."
		return row
	}
	for _, d := range weekend(b) {
		s := weekday(d.Day) + " " + dayOdds(d)
		if d.WaveOK {
			s += ", wave " + odds(d.PWave)
		}
		if finite(d.WaterC[1]) && d.WaterC != [3]float64{} {
			s += ", water about " + f.temp(d.WaterC[1])
		}
		if n := clean(d.Note); n != "" {
			s += ", " + n
		}
		row.Days = append(row.Days, s)
	}
	if len(row.Days) == 0 {
		row.Note = "No outlook for the weekend."
	}
	return row
}

// viewNotice are the kinds without a brief.
func (c *Composer) viewNotice(v *letter, l coldseam.Letter, ct Content) {
	for _, s := range ct.Lines {
		v.Intro = append(v.Intro, clean(s))
	}
	switch l.Kind {
	case coldseam.MailConfirm:
		v.Title = "One step is left."
		v.Intro = []string{
			"Someone, we hope you, asked for the morning river mail of " + v.Club + " at this address.",
			"Nothing is sent until you confirm. The link is good for 7 days. If it was not you, do nothing.",
		}
		v.Button = &button{"Confirm the morning mail", c.Links.Confirm(l.Subscriber.ID, l.CreatedAt)}
		v.Preheader = "Open the link to confirm; good for 7 days."
	case coldseam.MailWelcome:
		v.Title = greeting(l.Subscriber.Name)
		v.Intro = append(c.welcome(l), v.Intro...)
		v.Button = &button{"Your settings", v.Prefs}
		v.Preheader = "What comes, when, and how to change it."
	case coldseam.MailPause:
		v.Title = "Season pause."
		if len(v.Intro) == 0 {
			v.Intro = []string{"The season of your rivers is over. The morning mail rests and comes back by itself."}
		}
		v.Intro = append(v.Intro, "Pages and calendar go on. Later news stands on the page.")
		v.Preheader = "The mail rests; the pages go on."
	case coldseam.MailSilent:
		v.Title = "For the keeper of the club's gauges."
		v.Preheader = "A gauge is silent; its rivers read NO CALL."
	case coldseam.MailAlarm:
		v.Title = "For the keeper of the club's mail."
		v.Preheader = "The morning mail needs you."
	}
	if ct.Link != "" && webLink(ct.Link) {
		v.Page = ct.Link
	}
	made := l.CreatedAt.In(formatFor(coldseam.Preferences{}, l.Subscriber.Prefs.Zone).zone)
	v.Intro = append(v.Intro, "Made "+made.Format("Mon 2 Jan, 15:04 MST")+", good until the next mail; later news: the page below.")
}

// greeting uses the name as one line of text, nothing else.
func greeting(name string) string {
	if n := clip(clean(name), 40); n != "" {
		return "Welcome, " + n + "."
	}
	return "Welcome."
}

func (c *Composer) welcome(l coldseam.Letter) []string {
	p := l.Subscriber.Prefs
	at := p.SendAt
	if at == "" {
		at = "before dawn"
	} else {
		at = "at " + at
	}
	return []string{
		"The mail comes " + at + " and says GO, TOSS-UP, STAY, STOP or NO CALL for each of your rivers, stops first.",
		"\"6 in 10 for a good morning\" means: of ten mornings like this one about six were good.",
		"After a trip tap one of the four answers under the river, zeros too: zeros teach the model as much as fish do.",
	}
}

// moreText is the one line of a river beyond the full ones.
func moreText(k block) string {
	s := k.Verdict.String() + " " + k.River
	if k.Verdict.ShowsOdds() {
		return s + ", " + odds(k.Brief.Odds) + " for a good morning"
	}
	return s + ", " + short(k.Head)
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
				s = append(s, upperFirst(strings.TrimSuffix(joinParts(f.Items[0]), ".")))
			}
		}
	}
	return strings.Join(s, ". ") + "."
}

func countWords(n int) string {
	words := []string{"No river.", "One river.", "Two rivers, best first.", "Three rivers, best first.", "Four rivers, best first."}
	if n < len(words) {
		return words[n]
	}
	return fmt.Sprintf("%d rivers, best first.", n)
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
// day, subscriber, edition and, for a correction, river.
func MessageID(l coldseam.Letter, domain string) string {
	if l.MessageID != "" {
		return strings.Trim(clean(l.MessageID), "<> ")
	}
	day := l.LocalDate.UTC()
	if l.LocalDate.IsZero() {
		day = l.CreatedAt.UTC().Truncate(24 * time.Hour)
	}
	id := fmt.Sprintf("%s.%d.%d", day.Format("20060102"), l.Subscriber.ID, l.Edition)
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
