package main

import (
	"net/mail"
	"strings"

	"example.org/coldseam/store"
)

// domainRate and totalRate bound mails a second; none to a relay on this
// machine, which queues for itself.
func (m MailConfig) domainRate() float64 {
	if m.localRelay() {
		return 0
	}
	return float64(m.PerDomain)
}

func (m MailConfig) totalRate() float64 {
	if m.localRelay() {
		return 0
	}
	return 5
}

func (m MailConfig) localRelay() bool {
	return strings.HasPrefix(m.SMTP, "127.") || strings.HasPrefix(m.SMTP, "localhost") || strings.HasPrefix(m.SMTP, "[::1]")
}

// fromDomain is the domain that readers see; DMARC is about it.
func (c Config) fromDomain() string {
	a, err := mail.ParseAddress(c.Mail.From)
	if err != nil {
		return ""
	}
	return store.EmailDomain(a.Address)
}
