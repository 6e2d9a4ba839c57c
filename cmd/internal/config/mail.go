package config

import (
	"net/mail"
	"strings"

	"example.org/coldseam/store"
)

// DomainRate and TotalRate bound mails a second; none to a relay on this
// machine, which queues for itself.
func (m Mail) DomainRate() float64 {
	if m.LocalRelay() {
		return 0
	}
	return float64(m.PerDomain)
}

// TotalRate is the bound over all domains.
func (m Mail) TotalRate() float64 {
	if m.LocalRelay() {
		return 0
	}
	return 5
}

// LocalRelay reports a relay on this machine.
func (m Mail) LocalRelay() bool {
	return strings.HasPrefix(m.SMTP, "127.") || strings.HasPrefix(m.SMTP, "localhost") ||
		strings.HasPrefix(m.SMTP, "[::1]")
}

// FromDomain is the domain that readers see; DMARC is about it.
func (c Config) FromDomain() string {
	a, err := mail.ParseAddress(c.Mail.From)
	if err != nil {
		return ""
	}
	return store.EmailDomain(a.Address)
}
