package notify

import (
	"bytes"
	"crypto"
	"crypto/ed25519"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"fmt"

	"github.com/emersion/go-msgauth/dkim"

	"example.org/coldseam"
)

// Signer adds a DKIM signature (RFC 6376), relaxed/relaxed, without l=. It
// works on the final bytes: a library that signs while it writes folded the
// header list inside a name and was rejected by two verifiers.
type Signer struct {
	Domain   string
	Selector string
	Key      crypto.Signer // RSA of at least 2048 bits, or Ed25519
}

// signedHeaders are covered by h=. The one-click pair must be among them
// [source: RFC 8058 section 4].
func signedHeaders() []string {
	return []string{
		"From", "To", "Subject", "Date", "Message-ID", "Reply-To", "In-Reply-To", "References", "MIME-Version", "Content-Type",
		"Auto-Submitted", "List-Id", "List-Help", "List-Owner", "List-Unsubscribe", "List-Unsubscribe-Post",
	}
}

// NewSigner reads a PEM key (PKCS #1 or #8).
func NewSigner(domain, selector string, pemKey []byte) (*Signer, error) {
	block, _ := pem.Decode(pemKey)
	if block == nil {
		return nil, fmt.Errorf("dkim key: no PEM block: %w", coldseam.ErrInvalid)
	}
	var key any
	var err error
	if key, err = x509.ParsePKCS8PrivateKey(block.Bytes); err != nil {
		if key, err = x509.ParsePKCS1PrivateKey(block.Bytes); err != nil {
			return nil, fmt.Errorf("dkim key: want an RSA or Ed25519 private key: %w", coldseam.ErrInvalid)
		}
	}

	s := &Signer{Domain: domain, Selector: selector}
	switch k := key.(type) {
	case *rsa.PrivateKey:
		if k.N.BitLen() < 2048 {
			return nil, fmt.Errorf("dkim key: RSA of %d bits, want at least 2048: %w", k.N.BitLen(),
				coldseam.ErrInvalid)
		}
		s.Key = k
	case ed25519.PrivateKey:
		s.Key = k
	default:
		return nil, fmt.Errorf("dkim key: %T, want RSA or Ed25519: %w", key, coldseam.ErrInvalid)
	}

	if domain == "" || selector == "" || !printableASCII(domain) || !printableASCII(selector) {
		return nil, fmt.Errorf("dkim domain %q selector %q: want host names: %w", domain, selector, coldseam.ErrInvalid)
	}
	return s, nil
}

// Sign returns the message with the signature field in front.
func (s *Signer) Sign(msg []byte) ([]byte, error) {
	var out bytes.Buffer
	out.Grow(len(msg) + 1024)
	err := dkim.Sign(&out, bytes.NewReader(msg), &dkim.SignOptions{
		Domain: s.Domain, Selector: s.Selector, Signer: s.Key,
		HeaderCanonicalization: dkim.CanonicalizationRelaxed, BodyCanonicalization: dkim.CanonicalizationRelaxed,
		HeaderKeys: signedHeaders(),
	})
	if err != nil {
		return nil, fmt.Errorf("dkim sign: %w", err)
	}
	return out.Bytes(), nil
}

// Record is the DNS TXT value that publishes the key, to stand at
// <selector>._domainkey.<domain>.
func (s *Signer) Record() (string, error) {
	switch k := s.Key.Public().(type) {
	case *rsa.PublicKey:
		der, err := x509.MarshalPKIXPublicKey(k)
		if err != nil {
			return "", fmt.Errorf("dkim record: %w", err)
		}
		return "v=DKIM1; k=rsa; p=" + base64.StdEncoding.EncodeToString(der), nil
	case ed25519.PublicKey:
		return "v=DKIM1; k=ed25519; p=" + base64.StdEncoding.EncodeToString(k), nil
	}
	return "", fmt.Errorf("dkim record: key %T: %w", s.Key.Public(), coldseam.ErrInvalid)
}
