package notify

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base32"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// Purpose is what a signed link may do. A token of one purpose never opens
// another.
type Purpose byte

// The purposes.
const (
	ForUnsubscribe Purpose = 'u' // never expires
	ForConfirm     Purpose = 'c'
	ForPrefs       Purpose = 'p'
	ForLog         Purpose = 'l'
	ForCalendar    Purpose = 'k'
)

// How long links live; zero = for ever.
const (
	ConfirmLife = 7 * 24 * time.Hour   // [proposal]
	PrefsLife   = 400 * 24 * time.Hour // a season and the next opening day [proposal]
	LogLife     = 72 * time.Hour       // [proposal]
)

// Claim is what a token says.
type Claim struct {
	Purpose    Purpose
	Subscriber int64
	Expires    time.Time // whole seconds; zero = never
	Extra      string    // purpose's own: reach and date of a trip log link
}

// TokenKey is a signing secret of at least 32 bytes with its id. Ids are never
// reused.
type TokenKey struct {
	ID     byte
	Secret []byte
}

// Tokens signs and verifies the links in mails and pages, bounce addresses and
// mail-to unsubscribe addresses. Two keys allow rotation: Current signs, both
// verify.
type Tokens struct {
	List     string // id of the list; part of every signature
	Current  TokenKey
	Previous TokenKey // Secret nil = none
}

const (
	tokenVersion = 1
	macLen       = 16 // 128 bits of HMAC-SHA256
	maxTokenLen  = 300
)

// Check reports a set of keys that must not be used.
func (t Tokens) Check() error {
	switch {
	case t.List == "":
		return fmt.Errorf("token list id is empty: %w", coldseam.ErrInvalid)
	case len(t.Current.Secret) < 32:
		return fmt.Errorf("token key %d has %d bytes, want at least 32: %w", t.Current.ID, len(t.Current.Secret),
			coldseam.ErrInvalid)
	case t.Previous.Secret != nil && len(t.Previous.Secret) < 32:
		return fmt.Errorf("token key %d has %d bytes, want at least 32: %w", t.Previous.ID, len(t.Previous.Secret),
			coldseam.ErrInvalid)
	case t.Previous.Secret != nil && t.Previous.ID == t.Current.ID:
		return fmt.Errorf("two token keys with the id %d: %w", t.Current.ID, coldseam.ErrInvalid)
	}
	return nil
}

// Sign writes the claim as a token of URL-safe characters.
//
//	version, key id, purpose, uvarint subscriber, uvarint expiry, extra | mac
func (t Tokens) Sign(c Claim) string {
	body := []byte{tokenVersion, t.Current.ID, byte(c.Purpose)}
	body = binary.AppendUvarint(body, uint64(c.Subscriber))
	exp := int64(0)
	if !c.Expires.IsZero() {
		exp = max(c.Expires.Unix(), 1)
	}
	body = binary.AppendUvarint(body, uint64(exp))
	body = append(body, c.Extra...)
	return base64.RawURLEncoding.EncodeToString(append(body, t.mac(t.Current.Secret, "link", body)...))
}

// mac covers the domain of use, the list and the body; each is preceded by its
// length so that no two triples share their bytes.
func (t Tokens) mac(secret []byte, use string, body []byte) []byte {
	h := hmac.New(sha256.New, secret)
	for _, s := range [][]byte{[]byte(use), []byte(t.List), body} {
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(s)))
		h.Write(n[:])
		h.Write(s)
	}
	return h.Sum(nil)[:macLen]
}

// Verify reads a token that must have been signed for purpose p and must not
// have expired at now. Errors: ErrInvalid (forged, damaged, wrong purpose),
// ErrStale (expired; the claim is returned so that the page can offer a new
// link).
func (t Tokens) Verify(token string, p Purpose, now time.Time) (Claim, error) {
	if len(token) > maxTokenLen {
		return Claim{}, fmt.Errorf("token too long: %w", coldseam.ErrInvalid)
	}
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(raw) < 3+2+macLen || strings.ContainsAny(token, "\r\n") {
		return Claim{}, fmt.Errorf("token: %w", coldseam.ErrInvalid)
	}

	body, sum := raw[:len(raw)-macLen], raw[len(raw)-macLen:]
	if body[0] != tokenVersion || !t.signed(body[1], "link", body, sum) || Purpose(body[2]) != p {
		return Claim{}, fmt.Errorf("token: %w", coldseam.ErrInvalid)
	}
	c := Claim{Purpose: p}
	rest := body[3:]
	sub, n := binary.Uvarint(rest)
	if n <= 0 {
		return Claim{}, fmt.Errorf("token: %w", coldseam.ErrInvalid)
	}

	exp, m := binary.Uvarint(rest[n:])
	if m <= 0 {
		return Claim{}, fmt.Errorf("token: %w", coldseam.ErrInvalid)
	}
	c.Subscriber, c.Extra = int64(sub), string(rest[n+m:])
	if exp != 0 {
		c.Expires = time.Unix(int64(exp), 0).UTC()
		if now.After(c.Expires) {
			return c, fmt.Errorf("token expired: %w", coldseam.ErrStale)
		}
	}

	return c, nil
}

// signed compares in constant time under the key with this id.
func (t Tokens) signed(id byte, use string, body, sum []byte) bool {
	for _, k := range []TokenKey{t.Current, t.Previous} {
		if k.ID == id && k.Secret != nil {
			return hmac.Equal(t.mac(k.Secret, use, body), sum)
		}
	}
	return false
}

// addressMAC is the short form for mail local parts, which relays may fold to
// lower case: base32 without padding, 80 bits.
const addressMACBytes = 10

func lowerBase32() *base32.Encoding {
	return base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)
}

func (t Tokens) addressMAC(k TokenKey, use, body string) string {
	return lowerBase32().EncodeToString(t.mac(k.Secret, use, []byte(body))[:addressMACBytes])
}

// BounceAddress is the envelope sender of a mail: b+<subscriber>-<date>-<mac>
// at the bounce domain, so that a report names its mail by itself and a forged
// one is known.
func (t Tokens) BounceAddress(subscriber int64, d coldseam.Date, domain string) string {
	body := strconv.FormatInt(subscriber, 10) + "-" + d.UTC().Format("20060102")
	return "b+" + body + "-" + t.addressMAC(t.Current, "bounce", body) + "@" + domain
}

// UnsubscribeAddress is the mail-to form of the one-click link:
// u+<subscriber>-<mac> at the bounce domain.
func (t Tokens) UnsubscribeAddress(subscriber int64, domain string) string {
	body := strconv.FormatInt(subscriber, 10)
	return "u+" + body + "-" + t.addressMAC(t.Current, "leave", body) + "@" + domain
}

// ParseAddress reads a bounce or unsubscribe address of ours. The purpose is
// 'b' or ForUnsubscribe; the date is zero for the latter. Anything that is not
// signed by one of the keys is ErrInvalid.
func (t Tokens) ParseAddress(addr string) (p Purpose, subscriber int64, d coldseam.Date, err error) {
	bad := func() (Purpose, int64, coldseam.Date, error) {
		return 0, 0, coldseam.Date{}, fmt.Errorf("address is not one of ours: %w", coldseam.ErrInvalid)
	}
	local, _, ok := strings.Cut(strings.ToLower(strings.Trim(addr, " <>")), "@")
	if !ok {
		return bad()
	}

	kind, rest, ok := strings.Cut(local, "+")
	i := strings.LastIndexByte(rest, '-')
	if !ok || i < 0 {
		return bad()
	}
	use := map[string]string{"b": "bounce", "u": "leave"}[kind]
	body, sum := rest[:i], rest[i+1:]
	if use == "" || !t.addressSigned(use, body, sum) {
		return bad()
	}

	num, date, dated := strings.Cut(body, "-")
	if subscriber, err = strconv.ParseInt(num, 10, 64); err != nil {
		return bad()
	}
	if kind == "u" {
		return ForUnsubscribe, subscriber, d, nil
	}
	day, err := time.Parse("20060102", date)
	if err != nil || !dated {
		return bad()
	}

	return 'b', subscriber, coldseam.DateOf(day), nil
}

func (t Tokens) addressSigned(use, body, sum string) bool {
	got, err := lowerBase32().DecodeString(sum)
	if err != nil || len(got) != addressMACBytes || lowerBase32().EncodeToString(got) != sum {
		return false
	}
	for _, k := range []TokenKey{t.Current, t.Previous} {
		if k.Secret != nil && hmac.Equal(t.mac(k.Secret, use, []byte(body))[:addressMACBytes], got) {
			return true
		}
	}
	return false
}
