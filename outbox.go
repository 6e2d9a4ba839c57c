package coldseam

import "time"

// MailKind is the kind of a mail; with subscriber, local date and, for a stop
// correction only, the reach it is the outbox key.
type MailKind string

// The kinds of mail.
const (
	MailMorning    MailKind = "morning"
	MailFlip       MailKind = "flip"
	MailCorrection MailKind = "correction"
	MailOutlook    MailKind = "outlook"
	MailConfirm    MailKind = "confirm"
	MailWelcome    MailKind = "welcome"
	MailPause      MailKind = "pause"
	MailSilent     MailKind = "silent" // gauge silent, to the admin
	MailAlarm      MailKind = "alarm"  // to the admin, by the second path
)

// MailState is the state of an outbox row.
//
//	pending -> claimed -> in_data -> sent
//	              |          +-> unknown (no reply after the dot, or a crash)
//	              +-> deferred, failed, skipped, expired, held
type MailState string

// The states.
const (
	MailPending  MailState = "pending"
	MailClaimed  MailState = "claimed"
	MailInData   MailState = "in_data"
	MailSent     MailState = "sent"
	MailDeferred MailState = "deferred"
	MailFailed   MailState = "failed"
	MailSkipped  MailState = "skipped"
	MailExpired  MailState = "expired"
	MailUnknown  MailState = "unknown"
)

// OutboxMessage is one outbox row with all that composing needs. The same row always
// gives the same bytes but for the DKIM time.
type OutboxMessage struct {
	ID         int64
	Mailing    int64
	Subscriber Subscriber
	Kind       MailKind
	LocalDate  Date
	Reach      ReachID // only for a stop correction
	State      MailState
	Attempt    int
	Worker     string
	CreatedAt  time.Time // Date header of the mail
	Deadline   time.Time
	MessageID  string
	InReplyTo  string
	Domain     string // recipient domain, for pacing
	Payload    []byte // JSON of the kind's own content (briefs, links), fixed when queued
}

// Outcome is what one attempt to send came to.
type Outcome struct {
	State  MailState // sent, deferred, failed, unknown, skipped, expired
	Stage  string    // dial, hello, mail, rcpt, data, body, dot, sent
	Code   int
	Esc    string // enhanced status code
	Reply  string // the server's own text
	NextAt time.Time
	// Suppress asks the store to suppress the address with this reason.
	Suppress string
	// Breaker asks to stop the mailing: the fault is ours.
	Breaker bool
	// Slow asks for half the rate to the recipient's domain.
	Slow bool
}
