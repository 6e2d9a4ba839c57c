package notify

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"unicode"

	"example.org/coldseam"
)

// water tells flow and temperature, now and in the window.
func (k *block) water(f format) fact {
	b := k.Brief
	if !b.Flow.NowOK {
		return line("Water", part{Text: "flow " + unknown})
	}
	parts := []part{{Text: f.flow(b.Flow.Now), Strong: true}}
	if c := keyed(dateWords, b.Flow.Class); c != "" {
		parts = append(parts, part{Text: c, Optional: true})
	}
	if t := f.trend(b.Flow); t != "" && b.Since.Code == "" {
		parts = append(parts, part{Text: t, Optional: true})
	}

	switch {
	case b.Temp.NowOK && k.Verdict.ShowsOdds() && b.Temp.WindowOK && f.temp(b.Temp.Window[1]) != f.temp(b.Temp.Now):
		parts = append(parts, part{Text: f.temp(b.Temp.Now), Sep: "; "},
			part{Text: f.temp(b.Temp.Window[1]) + " in the window", Optional: true})
	case b.Temp.NowOK:
		parts = append(parts, part{Text: f.temp(b.Temp.Now), Sep: "; "})
	case !b.Temp.NowAt.IsZero():
		parts = append(parts, part{Text: "water not known since " + b.Temp.NowAt.In(f.zone).Format("2 Jan"), Sep: "; "})
	}

	return line("Water", parts...)
}

// dayChangePct is the least change over a day that the flow words name, percent:
// what a river does between mornings without rain or thaw [proposal].
const dayChangePct = 10

// trend says where a flow came from since yesterday, where it goes, and to when.
func (f format) trend(x coldseam.Fact) string {
	s := f.heading(x)
	if p := math.Round(100 * x.RiseDay); math.Abs(p) >= dayChangePct && finite(p) {
		way := "up "
		if p < 0 {
			way = "down "
		}
		s = strings.TrimSuffix(way+trimmed(math.Abs(p), 0)+nbsp+"% in a day, "+s, ", ")
	}
	return s
}

// heading says where a flow goes, and to when.
func (f format) heading(x coldseam.Fact) string {
	s, to := keyed(keyWords, x.Trend), f.clock(x.TrendTo)
	if s == "" || x.TrendTo.IsZero() {
		return s
	}
	if to == "12:00" {
		to = "noon"
	}
	if x.Trend == "cresting" {
		return s + " about " + to
	}
	return s + " to " + to
}

// flowOnly is the Water line of a STOP: the flow and where it heads.
func (k *block) flowOnly(f format) fact {
	b := k.Brief
	parts := []part{{Text: f.flow(b.Flow.Now), Strong: true}}
	trend := f.trend(b.Flow)
	if b.Since.Code != "" {
		trend = "" // SINCE tells it
	}
	for _, s := range []string{keyed(dateWords, b.Flow.Class), trend} {
		if s != "" {
			parts = append(parts, part{Text: s, Optional: true})
		}
	}
	if l := b.Chart.FlowLimitM3S; l > 0 {
		parts = append(parts, part{Text: "club limit is " + f.flow(l), Optional: true, Sep: "; "})
	}
	return line("Water", parts...)
}

// jig tells what to tie on at the advised spot.
func (k *block) jig(f format, mark string) fact {
	if len(k.Brief.Jig) == 0 {
		return line("Jig", part{Text: "no spot of this reach is sounded"})
	}
	first := k.Brief.Jig[0]
	j := k.Brief.Jig[coldseam.Headline(k.Brief.Jig)]
	if j.TieOz <= 0 || !finite(j.TieOz) {
		return line("Jig", part{Text: withheld(f, j, k.Brief.Jig)})
	}

	parts := []part{{Text: "tie " + f.weight(j.TieOz), Strong: true}}
	guessed := j.MayNeedOz != [2]float64{}
	if guessed {
		parts = []part{{Text: f.mayNeed(j), Strong: true}}
	}
	if j.PackOz > j.TieOz && !guessed {
		parts = append(parts, part{Text: "pack " + f.weight(j.PackOz), Strong: true})
	}
	if where := spotWords(f, j); where != "" {
		parts = append(parts, part{Text: "(" + where + ")", Sep: " ", Optional: true})
	}
	if first.SpotID != j.SpotID && first.TieOz > 0 {
		parts = append(parts, part{Text: clean(first.Spot) + " " + f.mayNeed(first), Sep: "; ", Optional: true})
	}
	if mark != "" {
		parts = append(parts, part{Text: mark, Sep: "; ", Optional: false})
	}
	return line("Jig", parts...)
}

// mayNeed is the range of sizes of a spot whose current nobody timed.
func (f format) mayNeed(j coldseam.SpotJig) string {
	return f.sizes(j.MayNeedOz) + ", current not timed, start light"
}

// withheld says why spot j has no weight and, where nothing holds there, at
// which of all spots something does.
func withheld(f format, j coldseam.SpotJig, all []coldseam.SpotJig) string {
	why := j.Withheld
	if why.Code == "" {
		return "no weight up to 1 oz holds"
	}
	if onlyWords(why) && f.noOdds && why.Code == "none_holds" {
		why.Text = "" // an old text tells its odds
	}
	s := "no weight: " + f.reason(why)
	if onlyWords(why) || len(all) == 0 || why.Code != "too_fast" && (why.Code != "none_holds" ||
		why.Names["case"] != "") {
		return s
	}

	var at []string
	for _, other := range all {
		if other.TieOz > 0 {
			at = append(at, clean(other.Spot)+" "+f.weight(other.TieOz))
		}
	}

	if len(at) == 0 {
		return s + "; nor at any other spot"
	}
	return s + "; holds at " + strings.Join(at, ", ")
}

func spotWords(f format, j coldseam.SpotJig) string {
	var s []string
	if j.DepthM > 0 {
		s = append(s, f.depth(j.DepthM))
	}
	if j.Spot != "" {
		s = append(s, clean(j.Spot))
	}
	return strings.Join(s, ", ")
}

// run tells the state of the spawning run; with odds only where the verdict
// allows them, else in words.
func (k *block) run(withOdds bool) fact {
	r := k.Brief.Run
	if !r.Active {
		return line("Run", part{Text: keyed(runWords, r.Why)})
	}

	if !withOdds {
		parts := []part{{Text: shareWords(r.Arrived[1])}}
		if r.Stage != "" {
			parts = append(parts, part{Text: clean(r.Stage)})
		}
		return line("Run", append(parts, rowPart(r)...)...)
	}

	parts := []part{{Text: shareWords(r.Arrived[1])}}
	if r.Stage != "" {
		parts = append(parts, part{Text: clean(r.Stage) + " " + odds(r.StageP), Optional: true})
	}

	wave := part{Text: "wave " + odds(r.PWave)}
	if !r.Counted.Day.IsZero() {
		wave.Long = wave.Text + " by the fish counter"
	}
	parts = append(parts, wave)
	return line("Run", append(parts, rowPart(r)...)...)
}

// rowPart is the species row of a run on a line of a mail.
func rowPart(r coldseam.RunState) []part {
	switch mark := RowMark(r); {
	case mark == "":
		return nil
	case r.Calibrated:
		return []part{{Text: "fitted to " + Counted(float64(r.Fit.Seasons), "season"), Long: mark}}
	default:
		return []part{{Text: mark}}
	}
}

// RowMark says what a species row is that is not the calibrated one as shipped;
// it goes wherever a number of the run does.
func RowMark(r coldseam.RunState) string {
	switch {
	case !r.Active:
	case !r.Calibrated:
		return "uncalibrated"
	case r.Fit.Seasons > 0:
		return "row fitted from " + Counted(float64(r.Fit.Seasons), "counted season") + ", " + r.Fit.On.String()
	}
	return ""
}

// shareWords is the share arrived where no odds may stand.
func shareWords(x float64) string {
	switch {
	case !finite(x):
		return "run not known"
	case x < .05:
		return "run barely begun"
	case x < .20:
		return "few fish in"
	case x < .42:
		return "about a third in"
	case x < .60:
		return "about half in"
	case x < .85:
		return "most fish in"
	}
	return "nearly all in"
}

// next holds good-morning odds of the following days. Two fit the text line;
// the third is for the HTML.
func (k *block) next() fact {
	var parts []part
	noted := false
	for i, d := range k.Brief.Next {
		if i == 3 {
			break
		}
		p := part{Text: weekday(d.Day) + " " + dayOdds(k.Brief, d), Optional: i > 0}
		if d.Note != "" {
			p.Text += ", " + keyed(keyWords, d.Note)
			noted = true
		}
		parts = append(parts, p)
	}

	for i := range parts {
		if noted { // a comma would leave open which day is the colder
			parts[i].Sep = "; "
		}
	}

	if len(parts) == 0 {
		return line("Next", part{Text: "no outlook today"})
	}
	if !k.Brief.Rank.Only() {
		parts[0].Text = "good morning: " + parts[0].Text
	}
	return line("Next", parts...)
}

func dayOdds(b coldseam.Brief, d coldseam.DayOdds) string {
	switch {
	case d.Verdict == coldseam.Stop:
		return "stop likely"
	case !d.OddsOK:
		return "no odds"
	}
	return DayChance(b, d)
}

// DayChance is the chance of a later day, in words where it lies too far ahead.
func DayChance(b coldseam.Brief, d coldseam.DayOdds) string {
	if b.TooFar(d) {
		return "too far to tell"
	}
	return chance(b, d.Odds)
}

// sure tells how far to trust the word and why, with the time of the gauge reading
// and what the odds rest on.
func (k *block) sure(f format) []string {
	b := k.Brief
	if !k.Verdict.ShowsOdds() {
		return nil
	}
	head := cmp.Or(clean(b.Sure), "low")
	why, told := clean(b.SureWhy), b.SureWhy != "" // a stored one names the gauge itself
	if b.SureBy.Code != "" {
		why, told = f.reason(b.SureBy), false
	}
	if why != "" {
		head += ": " + why
	}

	if at := gaugeAt(b); !at.IsZero() && !told {
		head += ", gauge " + f.dayClock(at, b.Day)
	}
	out := []string{head}
	if note := f.words(b.OddsNote); note != "" && !b.Rank.Only() {
		out = append(out, note)
	}
	if r := b.Rank; r.GoodRate > 0 && !r.Only() {
		out = append(out, fmt.Sprintf("the log weighs %s%% in the level, %s%% in the shape; good is %s fish a rod hour",
			percent(r.Level), percent(r.Shape), trimmed(r.GoodRate, 1)))
	}
	return out
}

// alt is the chart in words.
func (k *block) alt(f format) string {
	b := k.Brief
	if !b.Flow.NowOK {
		return ""
	}
	s := "Flow " + f.flow(b.Flow.Now)
	if t := f.trend(b.Flow); t != "" {
		s += ", " + t
	}

	if b.Flow.WindowOK && k.Verdict.ShowsOdds() {
		s += ", " + f.flow(b.Flow.Window[0]) + " to " + f.flow(b.Flow.Window[2]) + " in the window"
	}
	s += "."
	if k.Verdict == coldseam.Stop {
		if l := b.Chart.FlowLimitM3S; l > 0 {
			s += " Club limit is " + f.flow(l) + "."
		}
		return s
	}

	if b.Temp.NowOK {
		s += " Water " + f.temp(b.Temp.Now) + " now"
		if b.Temp.WindowOK {
			s += ", about " + f.temp(b.Temp.Window[1]) + " in the window"
		}
		s += "."
	}

	for i, d := range b.Next {
		if i == 2 || !finite(d.WaterC[1]) || d.WaterC == [3]float64{} {
			break
		}
		s += " " + weekday(d.Day) + " about " + f.temp(d.WaterC[1]) + "."
	}

	return s
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return string(unicode.ToUpper(r[0])) + string(r[1:])
}

// StaffOf draws the odds of a brief on ten marks; the bracket holds those that are
// TOSS-UP. Of a rank it draws the third, on three.
func StaffOf(b coldseam.Brief, odds float64) PageStaff {
	if b.Rank.Only() {
		return PageStaff{Shown: true, Marks: 3, Filled: b.Rank.Third(odds), Lo: 1, Hi: 2}
	}
	line := b.Line()
	return PageStaff{Shown: true, Marks: 10, Filled: coldseam.Tenths(odds), Lo: max(line.TossUpTenths()-1, 0),
		Hi: line.GoTenths() - 1}
}
