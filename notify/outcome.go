package notify

import (
	"crypto/tls"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/emersion/go-smtp"

	"example.org/coldseam"
)

// The stages of one send. Only an error after the final dot leaves it unknown
// whether the mail was delivered.
const (
	StageCompose = "compose"
	StageDial    = "dial"
	StageHello   = "hello" // greeting, EHLO, STARTTLS, AUTH
	StageMail    = "mail"
	StageRcpt    = "rcpt"
	StageData    = "data" // reply to the DATA command
	StageBody    = "body" // text under way, dot not sent
	StageDot     = "dot"  // dot sent, no reply yet
	StageSent    = "sent"
)

// Classify says what a failed attempt means.
//
//	4xx, or link lost before the dot   deferred
//	no reply after the dot             unknown, the only case
//	5xx about the address              failed; 5.1.1, 5.1.2, 5.1.10 suppress
//	5xx about us (5.7.x, 5.3.4, 53x)   deferred, and the breaker
//
// A 5.7.x at RCPT is counted by the breaker but does not trip it alone: one
// recipient's policy is no fault of the mailing.
func Classify(stage string, err error) coldseam.Outcome {
	o := coldseam.Outcome{Stage: stage, Reply: replyText(err)}
	var se *smtp.SMTPError
	if !errors.As(err, &se) {
		o.State = coldseam.MailDeferred
		if stage == StageDot {
			o.State = coldseam.MailUnknown
		}
		o.Breaker = stage == StageHello && insecure(err)
		return o
	}

	o.Code, o.Esc = se.Code, escText(se.EnhancedCode)
	o.Reply = clip(clean(se.Message), 300)
	o.State = coldseam.MailDeferred

	switch {
	case se.Code < 500 || se.Code > 599:
		o.Slow = slowDown(o)
	case aboutUs(stage, se):
		o.Breaker = stage != StageRcpt
	case stage == StageHello:
		o.Breaker = true // the relay does not want us at all
	case stage == StageRcpt || stage == StageDot || stage == StageData:
		o.State = coldseam.MailFailed
		if addressGone(stage, se) {
			o.Suppress = strings.TrimSpace(fmt.Sprintf("%d %s %s", o.Code, o.Esc, o.Reply))
		}
	case stage == StageMail:
		o.Breaker = true // our own envelope sender is refused
	}

	return o
}

// insecure: the relay's certificate is wrong or it offers no TLS. Waiting does
// not cure that; sending in the clear would.
func insecure(err error) bool {
	var cert *tls.CertificateVerificationError
	return errors.As(err, &cert) || errors.Is(err, coldseam.ErrInvalid) ||
		strings.Contains(err.Error(), "support STARTTLS")
}

func replyText(err error) string {
	if err == nil {
		return ""
	}
	return clip(clean(err.Error()), 300)
}

func escText(e smtp.EnhancedCode) string {
	if e == smtp.NoEnhancedCode || e == smtp.EnhancedCodeNotSet {
		return ""
	}
	return fmt.Sprintf("%d.%d.%d", e[0], e[1], e[2])
}

// aboutUs: policy, authentication or size, not the recipient.
func aboutUs(stage string, se *smtp.SMTPError) bool {
	e := se.EnhancedCode
	switch {
	case se.Code == 530 || se.Code == 534 || se.Code == 535 || se.Code == 538:
		return true
	case e[0] == 5 && e[1] == 7:
		return true
	case e[0] == 5 && e[1] == 3 && e[2] == 4: // message too big
		return true
	case stage == StageDot && escText(e) == "" && (se.Code == 554 || se.Code == 552):
		return true // content refused without a word about the address
	}
	return false
}

// addressGone: the mailbox or its domain does not exist. Without an enhanced
// code only 550 and 551 at RCPT say so.
func addressGone(stage string, se *smtp.SMTPError) bool {
	switch escText(se.EnhancedCode) {
	case "5.1.1", "5.1.2", "5.1.10":
		return true
	case "":
		return stage == StageRcpt && (se.Code == 550 || se.Code == 551)
	}
	return false
}

// slowDown: the receiver asks for less.
func slowDown(o coldseam.Outcome) bool {
	return o.Code == 421 || strings.HasPrefix(o.Esc, "4.7.") || o.Esc == "4.3.2" ||
		strings.Contains(strings.ToLower(o.Reply), "too many")
}

// RetryAfter is the pause after the attempt-th attempt of a row, counted from
// 1 as the claim does: 1, 5, 15, 30, then every 60 minutes, each shifted by up to 20 % either way so that a batch does not come
// back at once [proposal]. The shift depends on row and attempt alone.
func RetryAfter(id int64, attempt int) time.Duration {
	steps := [...]time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour}
	d := steps[min(max(attempt-1, 0), len(steps)-1)]
	x := uint64(id)*0x9E3779B97F4A7C15 + uint64(attempt)*0xBF58476D1CE4E5B9
	x ^= x >> 31
	x *= 0x94D049BB133111EB
	x ^= x >> 29
	return time.Duration(float64(d) * (.8 + .4*float64(x>>11)/(1<<53)))
}

// schedule sets the next attempt of a deferred row: the usual pause, drawn in
// to a last attempt a minute before the deadline; after that the row expires.
func schedule(o coldseam.Outcome, l coldseam.OutboxMessage, now time.Time) coldseam.Outcome {
	if o.State != coldseam.MailDeferred {
		return o
	}
	attempt := l.Attempt
	if o.Stage == StageDial || o.Stage == StageHello || o.Stage == StageCompose {
		// The relay was not reached at all, or our own database was away: one try
		// finds out for all rows, and a morning's mail must not sleep for an hour
		// after it is back.
		attempt = min(attempt, 2)
	}

	o.NextAt = now.Add(RetryAfter(l.ID, attempt))
	if l.Deadline.IsZero() || o.NextAt.Before(l.Deadline) {
		return o
	}
	last := l.Deadline.Add(-time.Minute)
	if last.After(now.Add(30 * time.Second)) {
		o.NextAt = last
		return o
	}

	o.State, o.NextAt = coldseam.MailExpired, time.Time{}
	return o
}
