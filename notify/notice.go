package notify

import (
	"cmp"
	"strings"

	"example.org/coldseam"
)

// viewNotice are the kinds without a brief.
func (c *Composer) viewNotice(v *mailView, l coldseam.OutboxMessage, ct Content) {
	for _, s := range ct.Lines {
		v.Intro = append(v.Intro, clean(s))
	}

	switch l.Kind {
	case coldseam.MailConfirm:
		v.Title = "One step is left"
		v.Intro = []string{
			"Someone, we hope you, asked for the morning river mail of " + v.Club + " at this address.",
			"Nothing is sent until you confirm. If it was not you, do nothing.",
		}
		v.Button = &button{"Confirm the morning mail", c.Links.Confirm(l.Subscriber.ID, l.CreatedAt)}
		v.Preheader = "Open the link to confirm; good for 7 days."
	case coldseam.MailWelcome:
		v.Title = greeting(l.Subscriber.Name)
		v.Intro = append(c.welcome(l), v.Intro...)
		v.Button = &button{"Your settings", v.Prefs}
		v.Preheader = "What comes, when, and how to change it."
	case coldseam.MailPause:
		v.Title = "Season pause"
		if len(v.Intro) == 0 {
			v.Intro = []string{"The season of your rivers is over. The morning mail rests and comes back by itself."}
		}
		v.Intro = append(v.Intro, "Pages and calendar go on.")
		v.Preheader = "The mail rests; the pages go on."
	case coldseam.MailSilent:
		v.Title = "A gauge is silent"
		v.Preheader = "A gauge is silent; its rivers read NO CALL."
	case coldseam.MailAlarm:
		v.Title = "The morning mail needs you"
		v.Preheader = "The morning mail needs you."
	}

	if ct.Link != "" && webLink(ct.Link) {
		v.Page = ct.Link
	}
	made := l.CreatedAt.In(formatFor(coldseam.Preferences{}, cmp.Or(l.Subscriber.Prefs.Zone, ct.Zone)).zone)
	v.Closing = "Made " + made.Format("Mon 2 Jan, ") + strings.TrimPrefix(made.Format("15:04 MST"), "0") + "; " +
		closings[l.Kind]
}

// closings say how long a notice holds and where later news stands.
var closings = map[coldseam.MailKind]string{
	coldseam.MailConfirm: "the link is good for 7 days.",
	coldseam.MailWelcome: "the page below says what holds today.",
	coldseam.MailPause:   "good until the mail comes back; later news: the page below.",
	coldseam.MailSilent:  "the page below says whether it is silent still.",
	coldseam.MailAlarm:   "the page below says what holds now.",
}

// greeting uses the name as one line of text, nothing else.
func greeting(name string) string {
	if n := clip(clean(name), 40); n != "" {
		return "Welcome, " + n
	}
	return "Welcome"
}

func (c *Composer) welcome(l coldseam.OutboxMessage) []string {
	p := l.Subscriber.Prefs
	at := p.SendAt
	if at == "" {
		at = "before dawn"
	} else {
		at = "at " + strings.TrimPrefix(at, "0")
	}
	out := []string{
		"The mail comes " + at + " and says GO, TOSS-UP, STAY, STOP or NO CALL for each of your rivers, stops first.",
		"Until a river's log holds ten mornings by three anglers, the word ranks a morning among that river's own, by rules of the trade. From then on it gives odds.",
		"After a trip tap one of the four answers under the river. A trip without fish counts as much as one with.",
	}
	if c.Owner != "" {
		out = append(out, "Reply to any mail: the club's admin reads it.")
	}
	return out
}
