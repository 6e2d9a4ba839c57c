package backup

import (
	"archive/tar"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
)

// A backup is one tar file, 0600: db.dump (pg_dump's custom format), the
// admin's files under files/, then manifest.json with the size and SHA-256 of
// each and the counts of every table, then the SHA-256 of the manifest. What
// is cut short has no manifest and is refused.
const (
	backupDump     = "db.dump"
	backupFiles    = "files/"
	backupManifest = "manifest.json"
	backupSeal     = "manifest.sha256"
)

// Manifest describes a backup.
type Manifest struct {
	Format      int             `json:"format"`
	MadeAt      time.Time       `json:"made_at"`
	Schema      int             `json:"schema"`
	Server      string          `json:"server"` // version of Postgres
	LastEdition coldseam.Date   `json:"last_edition"`
	Files       []ManifestFile  `json:"files"`
	Tables      []ManifestTable `json:"tables"`
}

// ManifestFile is one entry of the tar.
type ManifestFile struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
	Path   string `json:"path,omitempty"` // where it stood, of the admin's files
	Mode   uint32 `json:"mode,omitempty"` // who might read it there; older backups do not say
}

// ManifestTable is the state of one table: its rows and a sum over their
// content that does not depend on their order.
type ManifestTable struct {
	Name string `json:"name"`
	Rows int64  `json:"rows"`
	Sum  string `json:"sum"`
}

const backupFormat = 1

func writeBackup(path, dump string, files map[string]string, m Manifest) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	w := tar.NewWriter(f)
	if err := addFile(w, &m, backupDump, dump); err != nil {
		return err
	}

	for _, name := range slices.Sorted(maps.Keys(files)) {
		if name != filepath.Base(name) || strings.HasPrefix(name, ".") {
			return fmt.Errorf("file name %q: %w", name, coldseam.ErrInvalid)
		}
		at, err := filepath.Abs(files[name])
		if err != nil {
			return err
		}
		if err := addFile(w, &m, backupFiles+name, at); err != nil {
			return err
		}
		m.Files[len(m.Files)-1].Path = at
	}

	text, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return err
	}

	for _, e := range []struct {
		name string
		body []byte
	}{{backupManifest, text}, {backupSeal, []byte(sha(text))}} {
		if err := w.WriteHeader(&tar.Header{
			Name:    e.name,
			Mode:    0o600,
			Size:    int64(len(e.body)),
			ModTime: m.MadeAt,
		}); err != nil {
			return err
		}
		if _, err := w.Write(e.body); err != nil {
			return err
		}
	}

	if err := w.Close(); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	return f.Close()
}

func addFile(w *tar.Writer, m *Manifest, name, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return err
	}

	if err := w.WriteHeader(&tar.Header{Name: name, Mode: 0o600, Size: st.Size(), ModTime: m.MadeAt}); err != nil {
		return err
	}
	h := sha256.New()
	if _, err := io.Copy(io.MultiWriter(w, h), f); err != nil {
		return err
	}
	m.Files = append(m.Files, ManifestFile{Name: name, Bytes: st.Size(), SHA256: hex.EncodeToString(h.Sum(nil)),
		Mode: uint32(st.Mode().Perm())})
	return nil
}

func sha(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

// Verify reads a backup through and checks every byte against the
// manifest. ErrInvalid: cut short, altered, or not a backup.
func Verify(path string) (Manifest, error) {
	m, err := readBackup(path, func(string, io.Reader) error { return nil })
	if err != nil {
		return Manifest{}, fmt.Errorf("backup %s: %w", filepath.Base(path), err)
	}
	return m, nil
}

// readBackup hands every entry but the manifest to each and checks all.
func readBackup(path string, each func(name string, r io.Reader) error) (m Manifest, err error) {
	f, err := os.Open(path)
	if err != nil {
		return m, err
	}
	defer f.Close()
	bad := func(why string) (Manifest, error) { return Manifest{}, fmt.Errorf("%s: %w", why, coldseam.ErrInvalid) }
	r := tar.NewReader(f)
	seen := map[string]ManifestFile{}
	var text, seal []byte

	for {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return bad("not a whole tar file")
		}

		switch h.Name {
		case backupManifest:
			text, err = io.ReadAll(io.LimitReader(r, 16<<20))
		case backupSeal:
			seal, err = io.ReadAll(io.LimitReader(r, 1<<10))
		default:
			sum := sha256.New()
			var n counter
			t := io.TeeReader(r, io.MultiWriter(sum, &n))
			if err = each(h.Name, t); err == nil {
				_, err = io.Copy(io.Discard, t)
			}
			seen[h.Name] = ManifestFile{Name: h.Name, Bytes: int64(n), SHA256: hex.EncodeToString(sum.Sum(nil))}
		}

		if errors.Is(err, io.ErrUnexpectedEOF) {
			return bad("cut short in " + h.Name)
		}
		if err != nil {
			return m, err
		}
	}

	if text == nil || sha(text) != string(seal) {
		return bad("no manifest, or not the one it was made with: cut short or altered")
	}
	if err := json.Unmarshal(text, &m); err != nil {
		return bad("manifest cannot be read")
	}
	if m.Format != backupFormat {
		return bad(fmt.Sprintf("format %d, this program reads %d", m.Format, backupFormat))
	}
	if len(m.Files) != len(seen) {
		return bad(fmt.Sprintf("%d files, manifest names %d", len(seen), len(m.Files)))
	}

	for _, want := range m.Files {
		got := seen[want.Name]
		got.Path, got.Mode = want.Path, want.Mode // the tar does not hold them
		if got != want {
			return bad(want.Name + " is altered")
		}
	}

	return m, nil
}

type counter int64

func (c *counter) Write(p []byte) (int, error) { *c += counter(len(p)); return len(p), nil }
