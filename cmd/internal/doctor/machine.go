package doctor

import (
	"context"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"
	"time"

	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/store/backup"
)

// Room on disk below which it warns and fails [proposal]: a dump and a day's
// log must fit.
const (
	diskWarnShare = 0.10
	diskWarnBytes = 2 << 30
	diskFailBytes = 300 << 20
)

func (k *checker) disk() {
	for _, d := range []struct{ key, path string }{{"disk", k.cfg.StateDir}, {"disk of backups", k.cfg.Backup.Dir}} {
		free, total, err := k.space(env.Existing(d.path))
		if err != nil {
			k.add(d.key, levelWarn, err.Error(), "a directory that can be looked at", "mend state_dir or backup.dir")
			continue
		}
		found := fmt.Sprintf("%.1f of %.1f GB free at %s", float64(free)/1e9, float64(total)/1e9, d.path)
		const fix = "make room, or move the directory; old backups go by themselves"
		switch {
		case free < diskFailBytes:
			k.add(d.key, LevelFail, found, "300 MB at the very least", fix)
		case free < diskWarnBytes && float64(free) < diskWarnShare*float64(total):
			k.add(d.key, levelWarn, found, "2 GB or a tenth free", fix)
		default:
			k.ok(d.key, "%s", found)
		}
	}
}

// skewLimit is the difference of clocks that warns; skewBad shifts mornings.
const (
	skewLimit = time.Minute
	skewBad   = 10 * time.Minute
)

// clocks compares our clock with the Date of every feed's server.
func (k *checker) clocks(ctx context.Context) {
	if k.offline {
		k.ok("clock", "skipped: offline")
		return
	}
	seen := map[string]bool{}

	for _, p := range k.cfg.Profiles {
		u, err := url.Parse(p.BaseURL)
		if err != nil || seen[u.Host] {
			continue
		}
		seen[u.Host] = true
		key := "clock " + p.Name
		before := k.now()

		_, date, err := k.net.get(ctx, p.BaseURL)
		switch {
		case err != nil:
			k.add(key, levelWarn, "no answer: "+reasonOf(err), "an answer of "+u.Host,
				"look at the network and at the agency's own notices; the age of its feed tells what it means")
			continue
		case date.IsZero():
			k.ok(key, "the server says no date")
			continue
		}

		off := date.Sub(before.Add(k.now().Sub(before) / 2)).Truncate(time.Second)
		found := fmt.Sprintf("the server of %s is %s ahead of this machine", p.Name, off)
		if off < 0 {
			found = fmt.Sprintf("the server of %s is %s behind this machine", p.Name, -off)
		}

		const fix = "run a time daemon on this machine (timedatectl set-ntp true)"
		switch {
		case off.Abs() > skewBad:
			k.add(key, LevelFail, found, "less than a minute", fix)
		case off.Abs() > skewLimit:
			k.add(key, levelWarn, found, "less than a minute", fix)
		default:
			k.ok(key, "within %s", max(off.Abs(), time.Second))
		}
	}
}

// reasonOf is the error without the address it repeats: an address may hold a
// key.
func reasonOf(err error) string {
	if u, ok := err.(*url.Error); ok {
		return u.Err.Error()
	}
	return err.Error()
}

// zones makes sure that the machine's zone tables are there and fit.
func (k *checker) zones() {
	zones := map[string]bool{k.cfg.Club.Zone: true}
	for _, s := range k.cfg.Sites {
		zones[s.Zone] = true
	}
	for _, r := range k.cfg.Reaches {
		zones[r.Zone] = true
	}
	var odd []string
	for _, z := range slices.Sorted(maps.Keys(zones)) {
		if _, err := time.LoadLocation(z); err != nil {
			odd = append(odd, z)
		}
	}

	if len(odd) > 0 {
		k.add("zones", LevelFail, "unknown here: "+strings.Join(odd, ", "), "IANA zones",
			"install tzdata, or mend the name")
		return
	}

	if len(zones) > 1 {
		for _, s := range k.cfg.Sites {
			if s.Zone == "UTC" && k.cfg.Club.Zone != "UTC" {
				k.add("zones", levelWarn, s.ID+" is in UTC, the club in "+k.cfg.Club.Zone, "the zone the river lies in",
					"set zone of the [[site]]: days are cut in it")
				return
			}
		}
	}
	k.ok("zones", "%s", strings.Join(slices.Sorted(maps.Keys(zones)), ", "))
}

// limits lists what the club changed, the looser ones by name and reason.
func (k *checker) limits() {
	if len(k.cfg.Thresholds) == 0 {
		k.ok("limits", "all as shipped")
		return
	}
	def := verdict.DefaultTable()
	var words []string
	for _, key := range slices.Sorted(maps.Keys(k.cfg.Thresholds)) {
		l := k.cfg.Thresholds[key]
		w := fmt.Sprintf("%s %g, shipped %g", key, l.Value, def.Value(key))
		if l.Why != "" {
			w += " (" + l.Why + ")"
		}
		words = append(words, w)
	}
	k.ok("limits", "%s", strings.Join(words, "; "))
}

// Age of the newest backup that warns and fails [proposal].
const (
	backupWarn = 36 * time.Hour
	backupFail = 7 * env.Day
	// verifyBelow bounds the size of a backup that is read through each time.
	verifyBelow = 256 << 20
)

func (k *checker) backups() {
	list, err := backup.List(k.cfg.Backup.Dir)
	const fix = "coldseam backup, once a day from a timer; copy it off this machine"
	switch {
	case err != nil:
		k.add("backup", levelWarn, err.Error(), "a directory that can be read", "mend backup.dir")
		return
	case len(list) == 0:
		k.add("backup", levelWarn, "none in "+k.cfg.Backup.Dir, "one a day", fix)
		return
	}

	b := list[0]
	old := k.now().Sub(b.MadeAt)
	found := fmt.Sprintf("%d kept, the newest %s old, %.1f MB", len(list), env.Age(old), float64(b.Bytes)/1e6)
	if b.Bytes < verifyBelow {
		if _, err := backup.Verify(b.Path); err != nil {
			k.add("backup", LevelFail, err.Error(), "a newest backup that is whole",
				"coldseam backup; look at the disk")
			return
		}
		found += ", read through and whole"
	}

	switch {
	case old > backupFail:
		k.add("backup", LevelFail, found, "one a day", fix)
	case old > backupWarn:
		k.add("backup", levelWarn, found, "one a day", fix)
	default:
		k.ok("backup", "%s", found)
	}
}
