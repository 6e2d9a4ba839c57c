package notify_test

import (
	"bytes"
	"fmt"
	"net/mail"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/brieftest"
)

// One member's morning mail about one river.
func ExampleComposer_Compose() {
	c := &notify.Composer{
		Club:         "Tamsen River Club",
		From:         mail.Address{Address: "brief@club.example"},
		Domain:       "club.example",
		BounceDomain: "bounce.club.example",
		Owner:        "admin@club.example",
		Links: notify.Links{PublicURL: "https://club.example", Tokens: notify.Tokens{
			List:    "brief",
			Current: notify.TokenKey{ID: 1, Secret: bytes.Repeat([]byte("k"), 32)},
		}},
	}
	brief := brieftest.Go()
	content := notify.Content{Club: c.Club, Briefs: []coldseam.Brief{brief}}
	payload, err := content.Marshal()
	if err != nil {
		fmt.Println(err)
		return
	}

	m, err := c.Compose(coldseam.OutboxMessage{
		ID:         901,
		Subscriber: coldseam.Subscriber{ID: 17, Email: "angler@home.example", Prefs: coldseam.Preferences{Zone: brief.Zone}},
		Kind:       coldseam.MailMorning,
		LocalDate:  brief.Day,
		CreatedAt:  brief.Issued,
		Deadline:   brief.Issued.Add(time.Hour),
		Payload:    payload,
	}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(m.Subject)
	fmt.Println("to", m.To, "signed:", bytes.Contains(m.Bytes, []byte("DKIM-Signature")))
	// Output:
	// GO Tamsen River Sat, good morning 6 in 10, 39F warming
	// to angler@home.example signed: false
}
