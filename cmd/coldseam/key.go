package main

import (
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"example.org/coldseam"
)

// ensureKey reads the signing key of links at path, or makes one. The file is
// 0600; the key is 48 random bytes in base64.
func ensureKey(path string) ([]byte, error) {
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
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, err
	}
	text := base64.StdEncoding.EncodeToString(raw)
	if err := os.WriteFile(path, []byte(text+"\n"), 0o600); err != nil {
		return nil, err
	}
	return []byte(text), nil
}
