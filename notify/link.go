package notify

import (
	"fmt"
	"net/url"
	"strings"
	"time"

	"example.org/coldseam"
)

// The paths of the pages that mails link to. notify/web serves exactly these;
// a token or id follows the ones that end in a slash.
const (
	PathBoard       = "/"
	PathRiver       = "/river/"       // + reach id
	PathHow         = "/how"          // what 4 in 10 means
	PathStatus      = "/status"       // feeds and their age
	PathUnsubscribe = "/unsubscribe/" // + token; GET shows a form, POST leaves
	PathConfirm     = "/confirm/"     // + token; GET shows a form, POST confirms
	PathPrefs       = "/preferences/" // + token
	PathLog         = "/log/"         // + token, ?a=none|1-3|4|no
	PathBank        = "/bank/"        // + token of the trip log
	PathCalendar    = "/calendar/"    // + token + ".ics"
)

// logAnswers are the four answers of the trip log, as query value and words.
var logAnswers = [4][2]string{{"none", "none"}, {"1-3", "1 to 3"}, {"4", "4 or more"}, {"no", "did not go"}}

// Links writes the URLs of mails and pages from the one configured public URL;
// no request header ever takes part.
type Links struct {
	PublicURL string // "https://club.example", no trailing slash
	Tokens    Tokens
}

// Check reports a public URL that cannot be linked to.
func (l Links) Check() error {
	u, err := url.Parse(l.PublicURL)
	if err != nil || (u.Scheme != "https" && u.Scheme != "http") || u.Host == "" || u.User != nil || u.RawQuery != "" ||
		u.Fragment != "" {
		return fmt.Errorf("public_url %q: want https://host: %w", l.PublicURL, coldseam.ErrInvalid)
	}
	return l.Tokens.Check()
}

func (l Links) url(path string) string { return strings.TrimRight(l.PublicURL, "/") + path }

// Board is the page of all rivers.
func (l Links) Board() string { return l.url(PathBoard) }

// How is the page that explains the odds.
func (l Links) How() string { return l.url(PathHow) }

// Status is the page of feeds and their age.
func (l Links) Status() string { return l.url(PathStatus) }

// River is the page of one reach.
func (l Links) River(r coldseam.ReachID) string { return l.url(PathRiver + url.PathEscape(string(r))) }

// Unsubscribe is the one-click link; it never expires.
func (l Links) Unsubscribe(sub int64) string {
	return l.url(PathUnsubscribe + l.Tokens.Sign(Claim{Purpose: ForUnsubscribe, Subscriber: sub}))
}

// Confirm is the double opt-in link, good for ConfirmLife after at.
func (l Links) Confirm(sub int64, at time.Time) string {
	return l.url(PathConfirm + l.Tokens.Sign(Claim{Purpose: ForConfirm, Subscriber: sub, Expires: at.Add(ConfirmLife)}))
}

// Prefs opens the subscriber's own settings, good for PrefsLife after at.
func (l Links) Prefs(sub int64, at time.Time) string {
	return l.url(PathPrefs + l.Tokens.Sign(Claim{Purpose: ForPrefs, Subscriber: sub, Expires: at.Add(PrefsLife)}))
}

// Calendar is the subscriber's own feed; it never expires.
func (l Links) Calendar(sub int64) string {
	return l.url(PathCalendar + l.Tokens.Sign(Claim{Purpose: ForCalendar, Subscriber: sub}) + ".ics")
}

// Log opens the prefilled trip log of one reach and day, good for LogLife
// after at. The answer is not signed: it only prefills the form.
func (l Links) Log(sub int64, r coldseam.ReachID, d coldseam.Date, at time.Time) string {
	return l.url(PathLog + l.Tokens.Sign(Claim{
		Purpose:    ForLog,
		Subscriber: sub,
		Expires:    at.Add(LogLife),
		Extra:      LogExtra(r, d),
	}))
}

// Bank is a member's word from the bank of one reach and day.
func (l Links) Bank(sub int64, r coldseam.ReachID, d coldseam.Date, at time.Time) string {
	return strings.Replace(l.Log(sub, r, d, at), PathLog, PathBank, 1)
}

// Card opens the trip card as the member's own. What signs it stands behind the #,
// which no browser sends.
func (l Links) Card(sub int64, r coldseam.ReachID, d coldseam.Date, at time.Time) string {
	_, token, _ := strings.Cut(l.Log(sub, r, d, at), PathLog)
	return l.River(r) + "/card#" + token
}

// LogExtra is the Extra of a trip log token.
func LogExtra(r coldseam.ReachID, d coldseam.Date) string { return d.String() + " " + string(r) }

// ParseLogExtra reads it back.
func ParseLogExtra(s string) (coldseam.ReachID, coldseam.Date, error) {
	day, reach, ok := strings.Cut(s, " ")
	d, err := coldseam.ParseDate(day)
	if err != nil || !ok || reach == "" {
		return "", coldseam.Date{}, fmt.Errorf("trip log token: %w", coldseam.ErrInvalid)
	}
	return coldseam.ReachID(reach), d, nil
}
