package mailing

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/store"
	"example.org/coldseam/store/localpg"
)

// EnsureKey reads the signing key of links at path, or makes one. The file is
// 0600; the key is 48 random bytes in base64.
func EnsureKey(path string) ([]byte, error) {
	b, err := os.ReadFile(path)
	if err == nil {
		if k := strings.TrimSpace(string(b)); len(k) >= 32 {
			return []byte(k), nil
		}
		return nil, fmt.Errorf("%s: the key has %d bytes, want at least 32: %w", path, len(b), coldseam.ErrInvalid)
	}

	if !os.IsNotExist(err) {
		return nil, err
	}
	raw := make([]byte, 48)
	if _, err := rand.Read(raw); err != nil {
		return nil, err
	}

	if err := localpg.MakeDir(filepath.Dir(path), 0o755); err != nil {
		return nil, err
	}
	text := base64.StdEncoding.EncodeToString(raw)
	made, err := env.WriteNew(path, []byte(text+"\n"), 0o600)
	if err != nil {
		return nil, err
	}
	if !made { // another process was first
		return EnsureKey(path)
	}
	return []byte(text), nil
}

// keysMade is the switch that says that this club's keys exist somewhere.
const keysMade = "keys made"

// makeKeys makes the keys that the configuration does not name, in the state
// directory of the service: once in the life of a club, since another key breaks
// every link that was ever mailed.
func (ml *Mailer) makeKeys(ctx context.Context) error {
	wanted := map[string]*string{}
	for name, field := range ml.Config.OwnKeys() {
		if *field == "" {
			wanted[name] = field
		}
	}

	if wanted["token.key"] == nil {
		return nil
	}
	made, _, err := ml.DB.Switch(ctx, keysMade)
	if err != nil {
		return err
	}

	members, err := ml.DB.Subscribers(ctx, "")
	if err != nil {
		return err
	}

	if made || len(members) > 0 {
		return fmt.Errorf("mail.token_key_file is not set, and %s is not there: the key that signed the links of "+
			"%d members is on another machine or in a backup (coldseam restore FILE --files-only); "+
			"`coldseam init` makes a new one, with which links already sent stop working: %w",
			filepath.Join(ml.Config.StateDir, "token.key"), len(members), coldseam.ErrInvalid)
	}
	if err := ml.DB.SetSwitch(ctx, keysMade, true, store.Edit{Who: "coldseam", Why: "first start"}); err != nil {
		return err
	}

	for name, field := range wanted {
		path := filepath.Join(ml.Config.StateDir, name)
		if name == "token.key" {
			_, err = EnsureKey(path)
		} else if !env.Exists(path) {
			err = WriteDKIMKey(path)
		}
		if err != nil {
			return err
		}
		*field = path
	}

	ml.Log.Info("keys made", "dir", ml.Config.StateDir)
	return nil
}

// WriteDKIMKey makes an RSA key of 2048 bits, 0600: the size every receiver
// takes and a TXT record still carries.
func WriteDKIMKey(path string) error {
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		return err
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := pem.Encode(&b, &pem.Block{Type: "PRIVATE KEY", Bytes: der}); err != nil {
		return err
	}
	_, err = env.WriteNew(path, b.Bytes(), 0o600)
	return err
}
