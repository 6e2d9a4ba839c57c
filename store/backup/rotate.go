package backup

import (
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"
)

const backupLayout = "20060102T150405Z"

func backupName(t time.Time) string { return "coldseam-" + t.UTC().Format(backupLayout) + ".tar" }

func backupTime(name string) (time.Time, bool) {
	s, ok := strings.CutPrefix(name, "coldseam-")
	if s, ok2 := strings.CutSuffix(s, ".tar"); ok && ok2 {
		t, err := time.Parse(backupLayout, s)
		return t, err == nil
	}
	return time.Time{}, false
}

// File is one kept backup.
type File struct {
	Path   string
	MadeAt time.Time
	Bytes  int64
}

// List lists the backups in a directory by their names, newest first,
// without reading them. No directory is no backup.
func List(dir string) ([]File, error) {
	es, err := os.ReadDir(dir)
	if os.IsNotExist(err) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("backups: %w", err)
	}

	var out []File
	for _, e := range es {
		t, ok := backupTime(e.Name())
		st, err := e.Info()
		if !ok || err != nil {
			continue
		}
		out = append(out, File{Path: filepath.Join(dir, e.Name()), MadeAt: t, Bytes: st.Size()})
	}

	sort.Slice(out, func(i, j int) bool { return out[i].MadeAt.After(out[j].MadeAt) })
	return out, nil
}

// Kept numbers of backups [proposal].
const (
	keepDays   = 7
	keepWeeks  = 5
	keepMonths = 12
)

// Rotate deletes all but the newest backup of each of the last 7 days,
// 5 weeks and 12 months that have one. It returns the paths deleted. The
// newest is never deleted, whatever the clock says.
func Rotate(dir string) (deleted []string, err error) {
	bs, err := List(dir)
	if err != nil {
		return nil, err
	}
	for _, b := range expired(bs) {
		if err := os.Remove(b.Path); err != nil {
			return deleted, fmt.Errorf("rotate backups: %w", err)
		}
		deleted = append(deleted, b.Path)
	}
	return deleted, nil
}

// expired expects the newest first.
func expired(bs []File) []File {
	keep := map[string]bool{}
	for _, rule := range []struct {
		n   int
		key func(time.Time) string
	}{
		{keepDays, func(t time.Time) string { return t.Format(time.DateOnly) }},
		{keepWeeks, func(t time.Time) string { y, w := t.ISOWeek(); return fmt.Sprint(y, " ", w) }},
		{keepMonths, func(t time.Time) string { return t.Format("2006-01") }},
	} {
		seen := map[string]bool{}
		for _, b := range bs {
			if k := rule.key(b.MadeAt); !seen[k] && len(seen) < rule.n {
				seen[k], keep[b.Path] = true, true
			}
		}
	}

	var out []File
	for _, b := range bs {
		if !keep[b.Path] {
			out = append(out, b)
		}
	}

	return out
}
