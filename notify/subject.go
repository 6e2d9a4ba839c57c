package notify

import (
	"cmp"
	"strings"
	"unicode/utf8"

	"example.org/coldseam"
)

// maxSubject is what a phone's list shows of a subject [proposal].
const maxSubject = 55

// subject joins head and tails as long as they fit; the head alone is clipped.
// The first tail that does not fit ends it, so the order is the priority.
func subject(head string, tails ...string) string {
	s := clip(subjectText(head), maxSubject)
	for _, t := range tails {
		t = subjectText(t)
		if t == "" {
			continue
		}
		if utf8.RuneCountInString(s)+2+utf8.RuneCountInString(t) > maxSubject {
			break
		}
		s += ", " + t
	}
	return s
}

// subjectText keeps foreign text from being read as an encoded word.
func subjectText(s string) string { return strings.ReplaceAll(plain(clean(s)), "=?", "= ?") }

// Subject is the subject of a mail of this kind, at most 55 characters:
// verdict, river and the one number that matters.
func Subject(kind coldseam.MailKind, c Content, p coldseam.Preferences) string {
	var k block
	if len(c.Briefs) > 0 {
		k = blockOf(c.Briefs[0], p)
	}

	switch kind {
	case coldseam.MailMorning:
		if len(c.Briefs) > 1 && !k.Replay {
			return riversSubject(c.Briefs, p)
		}
		return morningSubject(k, p)
	case coldseam.MailCorrection:
		return subject(k.Verdict.String()+" replaces "+c.Was.String()+": "+k.River, cause(k)...)
	case coldseam.MailFlip:
		return subject("Now "+k.Verdict.String()+" "+k.River+" "+weekday(k.Brief.Day), "was "+c.Was.String(),
			goodMorning(k))
	case coldseam.MailOutlook:
		return outlookSubject(c)
	case coldseam.MailConfirm:
		return subject("Confirm your morning mail from " + c.Club)
	case coldseam.MailWelcome:
		return subject("Your morning mail is set", c.Club)
	case coldseam.MailPause:
		return subject("Season pause: the morning mail rests", c.Club)
	case coldseam.MailSilent:
		return subject(cmp.Or(c.Subject, first(c.Lines)))
	}

	return subject("Alarm: "+first(c.Lines), c.Club)
}

func first(s []string) string {
	if len(s) == 0 {
		return "the morning mail needs you"
	}
	return s[0]
}

func short(parts []part) string {
	if len(parts) == 0 {
		return ""
	}
	return parts[0].Text
}

// cause is the reason of a STOP or NO CALL as a subject has room for, and until
// when.
func cause(k block) []string {
	out := []string{plain(k.Cause)}
	if r, ok := mainStop(k.Brief); ok && k.Verdict == coldseam.Stop && !r.Until.IsZero() {
		if f := formatFor(coldseam.Preferences{}, k.Brief.Zone); !f.tellsEnd(r, k.Brief.Day) {
			out = append(out, "until "+f.dayClock(r.Until, k.Brief.Day))
		}
	}
	return out
}

func goodMorning(k block) string {
	if !k.Verdict.ShowsOdds() || k.Brief.Rank.Only() {
		return ""
	}
	return "good morning " + odds(k.Brief.Odds)
}

// riversSubject names the verdict of each river, in their order, as far as there is
// room.
func riversSubject(briefs []coldseam.Brief, p coldseam.Preferences) string {
	var words []string
	for _, b := range briefs {
		k := blockOf(b, p)
		words = append(words, k.Verdict.String()+" "+k.River)
	}
	words[0] += " " + weekday(briefs[0].Day)
	return subject(words[0], words[1:]...)
}

// morningSubject: the reason follows STOP and NO CALL, the odds with their noun
// and the water temperature the others.
func morningSubject(k block, p coldseam.Preferences) string {
	head := k.Verdict.String() + " " + k.River + " " + weekday(k.Brief.Day)
	if k.Replay {
		head = "REPLAY " + k.Brief.Day.String() + ", " + k.Verdict.String() + " " + k.River
	}
	if !k.Verdict.ShowsOdds() {
		why := cause(k)
		if room := maxSubject - 2 - utf8.RuneCountInString(plain(head)); room >= 12 {
			why[0] = clip(why[0], room)
		}
		return subject(head, why...)
	}

	t := ""
	if k.Brief.Temp.NowOK {
		f := formatFor(p, k.Brief.Zone)
		t = f.temp(k.Brief.Temp.Now)
		switch k.Brief.Temp.Trend {
		case "warming":
			t += " warming"
		case "cooling":
			t += " cooling"
		}
	}

	if k.Brief.Rank.Only() {
		head = k.Verdict.String() + " by rule of thumb"
		return subject(head, k.River+" "+weekday(k.Brief.Day), t)
	}
	return subject(head, goodMorning(k), t)
}
