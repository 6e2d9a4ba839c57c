package notify

import (
	"encoding/json"
	"fmt"
	"time"

	"example.org/coldseam"
)

// Content is the payload of an outbox row: all that its kind tells, fixed when
// the row is queued, so that a retry says the same.
type Content struct {
	Club   string           `json:"club"`             // name of the club
	Briefs []coldseam.Brief `json:"briefs,omitempty"` // the subscriber's own, in the order of SortBriefs

	// For are the preferences that the briefs were made for; nil = not a matter of
	// preferences, or a row of an earlier version.
	For *coldseam.Preferences `json:"for,omitempty"`

	// Correction and flip: what was told before, and when.
	Was   coldseam.Verdict `json:"was"`
	WasAt time.Time        `json:"was_at,omitzero"`

	// Lines are the sentences of the kinds without a brief: silent, alarm,
	// pause. Text of the program, never of a subscriber.
	Lines []string `json:"lines,omitempty"`
	// Subject says the first line in short; empty = the line itself.
	Subject string `json:"subject,omitempty"`
	// Zone is the clock of a reader without preferences, the admin; empty = UTC.
	Zone string `json:"zone,omitempty"`
	// Link is the kind's one link where it is not a signed one: the status
	// page of an alarm.
	Link string `json:"link,omitempty"`
	// OpenLogs are trips of earlier mornings that can still be logged.
	OpenLogs []OpenLog `json:"open_logs,omitempty"`
}

// OpenLog names a trip that is not logged yet.
type OpenLog struct {
	Reach coldseam.ReachID `json:"reach"`
	River string           `json:"river"`
	Day   coldseam.Date    `json:"day"`
}

// Marshal writes the payload. The series of the charts and what other rigs are
// weighed by stay behind: pictures are drawn once per river and handed to Compose,
// and the weights that are told stand in Jig.
func (c Content) Marshal() ([]byte, error) {
	briefs := make([]coldseam.Brief, len(c.Briefs))
	for i, b := range c.Briefs {
		b.Chart = coldseam.ChartData{FlowLimitM3S: b.Chart.FlowLimitM3S}
		b.Weighing = nil
		briefs[i] = b
	}
	c.Briefs = briefs
	out, err := json.Marshal(c)
	if err != nil {
		return nil, fmt.Errorf("mail payload: %w: %w", err, coldseam.ErrInvalid)
	}
	return out, nil
}

// ParseContent reads a payload.
func ParseContent(raw []byte) (Content, error) {
	var c Content
	if err := json.Unmarshal(raw, &c); err != nil {
		return Content{}, fmt.Errorf("mail payload: %w: %w", err, coldseam.ErrInvalid)
	}
	return c, nil
}

// check refuses content that its kind cannot be written from: an empty mail is
// worse than a held one.
func (c Content) check(kind coldseam.MailKind) error {
	switch kind {
	case coldseam.MailMorning, coldseam.MailFlip, coldseam.MailCorrection, coldseam.MailOutlook:
		if len(c.Briefs) == 0 {
			return fmt.Errorf("%s mail without a brief: %w", kind, coldseam.ErrInvalid)
		}
		for _, b := range c.Briefs {
			if b.River == "" || b.Day.IsZero() || b.Issued.IsZero() {
				return fmt.Errorf("%s mail: brief of %q without river, day or issue time: %w", kind, b.Reach,
					coldseam.ErrInvalid)
			}
		}
	case coldseam.MailSilent, coldseam.MailAlarm:
		if len(c.Lines) == 0 {
			return fmt.Errorf("%s mail without lines: %w", kind, coldseam.ErrInvalid)
		}
	case coldseam.MailConfirm, coldseam.MailWelcome, coldseam.MailPause:
	default:
		return fmt.Errorf("mail kind %q: %w", kind, coldseam.ErrInvalid)
	}

	if kind == coldseam.MailCorrection && c.Briefs[0].Verdict.ShowsOdds() {
		return fmt.Errorf("correction with verdict %s: want STOP or NO CALL: %w", c.Briefs[0].Verdict,
			coldseam.ErrInvalid)
	}
	return nil
}
