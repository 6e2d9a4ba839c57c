package config

import (
	"fmt"
	"os"
	"path/filepath"
)

// SecretFiles are the files a backup carries beside the database, by the name
// they get in it: configuration, keys, passwords. What the configuration names
// but is not there is left out; check says so.
func (c Config) SecretFiles() map[string]string {
	out := map[string]string{}
	for _, f := range c.KeyFiles() {
		if _, err := os.Stat(f.Path); err == nil {
			name := f.name
			for i := 2; out[name] != ""; i++ {
				name = fmt.Sprintf("%d-%s", i, f.name)
			}
			out[name] = f.Path
		}
	}
	return out
}

// KeyFile is a file that must not be lost and not be seen.
type KeyFile struct {
	What string // key of the configuration
	name string
	Path string
	// Rotate says what changing it does; "" = not a secret of its own.
	Rotate string
}

// KeyFiles are the files that the configuration names, itself among them.
func (c Config) KeyFiles() []KeyFile {
	var out []KeyFile
	add := func(what, path, rotate string) {
		if path != "" {
			out = append(out, KeyFile{what, filepath.Base(path), path, rotate})
		}
	}
	add("configuration", c.Path, "")
	add("mail.token_key_file", c.Mail.TokenKeyFile,
		"links in mails already sent stop working, unsubscribe links too: keep the old one for a season as mail.token_key_previous_file")
	add("mail.token_key_previous_file", c.Mail.TokenKeyPrev, "leave it out once the links it signed are a season old")
	add("mail.dkim_key_file", c.Mail.DKIMKeyFile,
		"publish the new key under a new selector first (coldseam check --dns), then change selector and key together")
	add("mail.password_file", c.Mail.PasswordFile, "change it at the relay, then here")
	for _, p := range c.Profiles {
		add("profile "+p.Name+" key_file", p.KeyFile, "ask the agency for a new one")
	}
	return out
}
