package doctor

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
	"example.org/coldseam/store/backup"
)

// fakeNames is a name server in memory; a name that is not there is not found.
type fakeNames struct {
	txt  map[string][]string
	mx   map[string]string
	host map[string][]string
	addr map[string][]string
	dead bool
}

func (f *fakeNames) answer(ok bool) error {
	switch {
	case f.dead:
		return &net.DNSError{Err: "server misbehaving", Name: "x", IsTemporary: true}
	case !ok:
		return &net.DNSError{Err: "no such host", Name: "x", IsNotFound: true}
	}
	return nil
}

func (f *fakeNames) LookupTXT(_ context.Context, n string) ([]string, error) {
	v, ok := f.txt[n]
	return v, f.answer(ok)
}

func (f *fakeNames) LookupMX(_ context.Context, n string) ([]*net.MX, error) {
	v, ok := f.mx[n]
	return []*net.MX{{Host: v, Pref: 10}}, f.answer(ok)
}

func (f *fakeNames) LookupHost(_ context.Context, n string) ([]string, error) {
	v, ok := f.host[n]
	return v, f.answer(ok)
}

func (f *fakeNames) LookupAddr(_ context.Context, n string) ([]string, error) {
	v, ok := f.addr[n]
	return v, f.answer(ok)
}

// bench is a club whose check is all well but for what a test breaks.
type bench struct {
	*clubtest.Harness
	names *fakeNames
	k     *checker
}

const clubDomain = "river.club.net" // no reserved name: the checks of names must run

func newBench(t *testing.T) *bench {
	t.Helper()
	v := clubtest.New(t, nil)
	ctx := t.Context()
	m := &v.Config.Mail
	dir := t.TempDir()
	m.From, m.BounceDomain, m.ListID = "Club <morning@"+clubDomain+">", "bounce."+clubDomain, "morning."+clubDomain
	m.DKIMDomain, m.DKIMSelector, m.DKIMKeyFile, m.TokenKeyFile = clubDomain, "coldseam",
		filepath.Join(dir, "dkim.key"), filepath.Join(dir, "token.key")
	m.LMTP, m.SecondSMTP = "127.0.0.1:2424", "127.0.0.1:2525"

	v.Config.PublicURL, v.Config.Backup.Dir = "https://"+clubDomain, filepath.Join(dir, "backup")
	require.NoError(t, mailing.WriteDKIMKey(m.DKIMKeyFile))
	_, err := mailing.EnsureKey(m.TokenKeyFile)
	require.NoError(t, err)
	require.NoError(t, v.Mail.WireMail(nil))
	rec, err := v.Mail.Compose.Signer.Record()
	require.NoError(t, err)
	_, err = v.Feeds.FetchAll(ctx)
	require.NoError(t, err)

	b := &bench{Harness: v, names: &fakeNames{
		txt: map[string][]string{"bounce." + clubDomain: {"v=spf1 ip4:192.0.2.7 -all"}, "coldseam._domainkey." +
			clubDomain: {rec}, "_dmarc." + clubDomain: {"v=DMARC1; p=none"}},
		mx:   map[string]string{"bounce." + clubDomain: clubDomain + "."},
		host: map[string][]string{"relay.net": {"192.0.2.7"}, "out.relay.net": {"192.0.2.7"}},
		addr: map[string][]string{"192.0.2.7": {"out.relay.net."}},
	}}
	b.k = &checker{
		cfg:   v.Config,
		app:   v.Parts,
		now:   v.Now,
		space: func(string) (uint64, uint64, error) { return 50 << 30, 100 << 30, nil },
		net: checkNet{names: b.names, probe: func(context.Context, notify.Relay) error { return nil },
			get: func(context.Context, string) (int, time.Time, error) { return 200, v.Now(), nil }},
	}
	return b
}

// lines runs the whole check and returns its lines by key.
func (b *bench) lines(t *testing.T) map[string][]Line {
	t.Helper()
	b.k.cfg = b.Config
	b.k.lines = nil
	b.k.all(t.Context())
	out := map[string][]Line{}
	for _, l := range b.k.lines {
		out[l.Key] = append(out[l.Key], l)
	}
	return out
}

// wantLine looks for a line of a key at a level that says some text, and that
// says what is wanted and how to mend it.
func wantLine(t *testing.T, lines map[string][]Line, key, level, text string) {
	t.Helper()
	for _, l := range lines[key] {
		if l.Level == level && strings.Contains(l.Found, text) {
			if level != LevelOK {
				require.NotEmpty(t, l.Wanted, key)
				require.NotEmpty(t, l.Fix, key)
			}
			return
		}
	}
	require.Fail(t, "no such line", "want %s %s with %q; there is %v", level, key, text, lines[key])
}

// editReach changes a reach in the file.
func (b *bench) editReach(t *testing.T, id string, change func(*config.Reach)) {
	t.Helper()
	b.Config.Reaches = slices.Clone(b.Config.Reaches)
	i := slices.IndexFunc(b.Config.Reaches, func(r config.Reach) bool { return r.ID == id })
	r := &b.Config.Reaches[i]
	r.Rules, r.Spots = slices.Clone(r.Rules), slices.Clone(r.Spots)
	change(r)
}

func withFlow(r config.Reach, cfs float64) config.Reach {
	r.MaxFlowCFS = &cfs
	return r
}

// Without a fault nearly everything is ok; the demo's dead gauge is named.
func TestCheckOfAGoodClub(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := backup.Make(t.Context(), b.DB, backup.Options{Dir: b.Config.Backup.Dir, Now: b.Now()})
	require.NoError(t, err)
	lines := b.lines(t)
	for _, key := range []string{"config", "database", "migrations", "readers' role", "queue", "disk",
		"clock northgauge", "zones", "limits", "feed northgauge", "feed metgrid",
		"feed northgauge-cap", "document shapes", "units northgauge", "tamsen-bend flow", "tamsen-bend weather",
		"tamsen-bend max_flow", "tamsen-bend hazards", "tamsen-bend rules",
		"tamsen-bend soundings", "smtp", "alarms", "spf", "dkim", "dmarc", "ptr", "mail.token_key_file",
		"mail.dkim_key_file", "public_url", "bounces", "sending", "mail", "backup"} {
		require.NotEmpty(t, lines[key], key)
		require.Equal(t, LevelOK, lines[key][0].Level, "%s: %+v", key, lines[key])
	}

	wantLine(t, lines, "brandt-ledge flow", LevelFail, "newest 8 h old")
	wantLine(t, lines, "tamsen-bend brief", levelWarn, "none for 2026-04-18")
	wantLine(t, lines, "units northgauge", LevelOK, "discharge ft^3/s")
	var out bytes.Buffer
	err = (&Check{}).finish(&out, b.k)
	require.Equal(t, env.ExitCode{Code: 2}, err, "the dead gauge is a fault")
	require.NotContains(t, out.String(), "@")
	t.Log(out.String())
}

// A river whose morning cannot be computed is told with the reason: a check by
// hand leaves nothing in the log of the service.
func TestNextMorningSaysWhyARiverCannot(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.sql(t, `ALTER TABLE coldseam.forecast RENAME TO forecast_gone`)
	b.k.ahead(t.Context())
	require.Regexp(t, `0 rivers can be GO, \d cannot: .*"coldseam.forecast" does not exist`, b.k.next)
	require.NotContains(t, b.k.next, "\n")
}

// Flags that rule each other out, or mean nothing alone, are refused at once.
func TestCheckFlagsThatContradict(t *testing.T) {
	t.Parallel()
	for _, c := range []Check{{Offline: true, Contract: true}, {Offline: true, Record: "x"}, {Profile: "mill"}} {
		err := c.Run(t.Context(), &env.Streams{}, &env.Globals{Config: "none.toml"})
		var refused env.ExitCode
		require.ErrorAs(t, err, &refused)
		require.Equal(t, 2, refused.Code)
		require.Contains(t, refused.Text, "--contract")
	}
}

func TestCheckExitAndJSON(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name   string
		levels []string
		want   error
	}{
		{"all well", []string{LevelOK}, nil},
		{"a warning", []string{LevelOK, levelWarn}, env.ExitCode{Code: 1}},
		{"a fault", []string{LevelFail, levelWarn, LevelOK}, env.ExitCode{Code: 2}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var lines []Line
			for _, l := range c.levels {
				lines = append(lines, Line{Key: "x", Level: l, Found: "f", Wanted: "w", Fix: "m"})
			}
			var text, js bytes.Buffer
			require.Equal(t, c.want, (&Check{}).finish(&text, &checker{lines: lines}))
			require.Equal(t, c.want, (&Check{JSON: true}).finish(&js, &checker{lines: lines}))

			var got struct {
				Status int
				Lines  []Line
			}
			require.NoError(t, json.Unmarshal(js.Bytes(), &got))
			require.Equal(t, lines, got.Lines)
			if c.want != nil {
				require.Contains(t, text.String(), "wanted: w")
				require.Contains(t, text.String(), "fix: m")
			}
		})
	}
}

// Faults that need nothing but the club as it is; each names its line.
func TestCheckNamesEachFault(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ctx := t.Context()
	keep := b.Config

	for _, c := range []struct {
		name, key, level, text string
		inject                 func(t *testing.T)
	}{
		{"disk full", "disk", LevelFail, "0.1 of", func(*testing.T) {
			b.k.space = func(string) (uint64, uint64, error) { return 100 << 20, 100 << 30, nil }
		}},
		{"disk filling", "disk", levelWarn, "1.1 of", func(*testing.T) {
			b.k.space = func(string) (uint64, uint64, error) { return 1 << 30, 100 << 30, nil }
		}},
		{"clock behind", "clock northgauge", levelWarn, "2m0s ahead of this machine", func(*testing.T) {
			b.k.net.get = func(context.Context, string) (int, time.Time, error) {
				return 200, b.Now().Add(2 * time.Minute), nil
			}
		}},
		{"clock an hour ahead", "clock northgauge", LevelFail, "behind this machine", func(*testing.T) {
			b.k.net.get = func(context.Context, string) (int, time.Time, error) {
				return 200, b.Now().Add(-time.Hour), nil
			}
		}},
		{"no network", "clock northgauge", levelWarn, "no route", func(*testing.T) {
			b.k.net.get = func(context.Context, string) (int, time.Time, error) {
				return 0, time.Time{}, errors.New("no route to host")
			}
		}},
		{"unknown zone", "zones", LevelFail, "Mars/Olympus", func(*testing.T) {
			b.Config.Club.Zone = "Mars/Olympus"
		}},
		{"relay dead", "smtp", LevelFail, "refused", func(*testing.T) {
			b.k.net.probe = func(context.Context, notify.Relay) error { return errors.New("connection refused") }
		}},
		{"nobody to tell", "alarms", levelWarn, "admin_email is empty", func(*testing.T) {
			b.Config.Club.AdminEmail = ""
		}},
		{"one way only", "alarms", levelWarn, "same way", func(*testing.T) { b.Config.Mail.SecondSMTP = "" }},
		{"no spf", "spf", LevelFail, "no SPF record", func(*testing.T) { delete(b.names.txt, "bounce."+clubDomain) }},
		{"two spf", "spf", LevelFail, "2 SPF records", func(*testing.T) {
			b.names.txt["bounce."+clubDomain] = []string{"v=spf1 -all", "v=spf1 a -all"}
		}},
		{"spf lets all in", "spf", LevelFail, "+all", func(*testing.T) {
			b.names.txt["bounce."+clubDomain] = []string{"v=spf1 +all"}
		}},
		{"no dkim record", "dkim", LevelFail, "no key at", func(*testing.T) {
			delete(b.names.txt, "coldseam._domainkey."+clubDomain)
		}},
		{"another dkim key", "dkim", LevelFail, "another one", func(*testing.T) {
			b.names.txt["coldseam._domainkey."+clubDomain] = []string{"v=DKIM1; k=rsa; p=AAAA"}
		}},
		{"unsigned", "dkim", LevelFail, "unsigned", func(t *testing.T) {
			s := b.Mail.Compose.Signer
			b.Mail.Compose.Signer = nil
			t.Cleanup(func() { b.Mail.Compose.Signer = s })
		}},
		{"no dmarc", "dmarc", LevelFail, "no DMARC record", func(*testing.T) {
			delete(b.names.txt, "_dmarc."+clubDomain)
		}},
		{"not aligned", "dmarc", LevelFail, "is not of the domain", func(*testing.T) {
			b.Config.Mail.BounceDomain = "elsewhere.net"
		}},
		{"name server dead", "spf", levelWarn, "server misbehaving", func(*testing.T) { b.names.dead = true }},
		{"nameless relay", "ptr", levelWarn, "192.0.2.7 has no name", func(t *testing.T) {
			b.remote(t)
			delete(b.names.addr, "192.0.2.7")
		}},
		{"name does not lead back", "ptr", levelWarn, "does not lead back", func(t *testing.T) {
			b.remote(t)
			b.names.addr["192.0.2.7"] = []string{"dsl-7.isp.net."}
		}},
		{"example's domain", "dns", LevelFail, "a name for examples", func(t *testing.T) {
			b.remote(t)
			b.Config.Mail.From = "Club <m@river.example.org>"
		}},
		{"http pages", "public_url", LevelFail, "http://", func(*testing.T) {
			b.Config.PublicURL = "http://" + clubDomain
		}},
		{"no public url", "public_url", LevelFail, `""`, func(*testing.T) { b.Config.PublicURL = "" }},
		{"pages behind a bad proxy", "public_url", levelWarn, "answers 502", func(*testing.T) {
			b.k.net.get = func(context.Context, string) (int, time.Time, error) { return 502, b.Now(), nil }
		}},
		{"no bounce receiver", "bounces", levelWarn, "nothing receives", func(*testing.T) {
			b.Config.Mail.LMTP = ""
		}},
		{"no bounce domain", "bounces", levelWarn, "not set", func(*testing.T) { b.Config.Mail.BounceDomain = "" }},
		{"no mx", "bounces", LevelFail, "no MX", func(*testing.T) { delete(b.names.mx, "bounce."+clubDomain) }},
		{"mailbox half read", "bounces", levelWarn, "not read to its end", func(t *testing.T) {
			b.Config.Mail.BounceFile = filepath.Join(t.TempDir(), "mbox") // gone, as after every reading
			aside := b.Config.Mail.BounceFile + mailing.ReadingSuffix
			require.NoError(t, os.WriteFile(aside, []byte("From x\n"), 0o600))
			old := b.Now().Add(-10 * time.Minute)
			require.NoError(t, os.Chtimes(aside, old, old))
		}},
		{"mailbox read and gone", "bounces", LevelOK, "received here", func(t *testing.T) {
			b.Config.Mail.BounceFile = filepath.Join(t.TempDir(), "mbox")
		}},
		{"mailbox gone", "bounces", LevelFail, "no such file", func(*testing.T) {
			b.Config.Mail.BounceFile = "/nowhere/mbox"
		}},
		{"key open to others", "mail.token_key_file", levelWarn, "0644", func(t *testing.T) {
			require.NoError(t, os.Chmod(keep.Mail.TokenKeyFile, 0o644))
			t.Cleanup(func() { require.NoError(t, os.Chmod(keep.Mail.TokenKeyFile, 0o600)) })
		}},
		{"key lost", "mail.dkim_key_file", LevelFail, "no such file", func(*testing.T) {
			b.Config.Mail.DKIMKeyFile = "/nowhere/dkim.key"
		}},
		{"no backup", "backup", levelWarn, "none in", func(*testing.T) {}},
		{"looser limit named", "limits", LevelOK, "gust_mph 40, shipped 35 (big boats)", func(*testing.T) {
			b.Config.Thresholds = map[string]config.Limit{"gust_mph": {Value: 40, Why: "big boats"}}
		}},
		{"held", "sending", LevelFail, "by keeper: gauge looks wrong", func(t *testing.T) {
			require.NoError(t, b.DB.Hold(ctx, store.Edit{Who: "keeper", Why: "gauge looks wrong"}))
			t.Cleanup(func() {
				require.NoError(t, b.DB.Release(context.Background(), store.Edit{Who: "keeper", Why: "mended"}))
			})
		}},
		{"nobody works", "queue", LevelFail, "1 jobs wait, the first for 20 min", func(t *testing.T) {
			b.job(t, "available", "now() - interval '20 minutes'", "NULL")
		}},
		{"a job given up", "queue", levelWarn, "fetch: out of paper", func(t *testing.T) {
			b.job(t, "discarded", "now()", "now()")
		}},
		{"readers see too much", "readers' role", levelWarn, "schema coldseam", func(t *testing.T) {
			b.sql(t, `GRANT USAGE ON SCHEMA coldseam TO season_reader`)
			t.Cleanup(func() { b.sql(t, `REVOKE USAGE ON SCHEMA coldseam FROM season_reader`) })
		}},
		{"mail unknown", "mail", levelWarn, "1 morning of 2026-04-18 are unknown: <(address)> no reply",
			func(t *testing.T) {
				b.mail(t, "unknown", false)
			}},
		{"mail refused", "mail", levelWarn, "are failed: <(address)> no reply",
			func(t *testing.T) { b.mail(t, "failed", false) }},
		{"mail late", "mail", levelWarn, "are expired", func(t *testing.T) { b.mail(t, "expired", false) }},
		{"mail put off", "mail", levelWarn, "are deferred", func(t *testing.T) { b.mail(t, "deferred", false) }},
		{"edition stopped", "mail", LevelFail, "are held", func(t *testing.T) { b.mail(t, "pending", true) }},
		{"no sender", "from", LevelFail, `mail.from is "nobody"`, func(*testing.T) {
			b.Config.Mail.From = "nobody"
		}},
		{"a feed that fails", "feed metgrid", levelWarn, "1 failures in a row", func(t *testing.T) {
			_, err := b.DB.SaveRaw(ctx, coldseam.RawFetch{
				Profile: "metgrid",
				URL:     "https://x.example",
				At:      b.Now(),
				Status:  500,
				Err:     "HTTP 500",
			})
			require.NoError(t, err)
		}},
		{"warnings not complete", "feed northgauge-cap", levelWarn, "Flood Watch did not load", func(t *testing.T) {
			_, err := b.DB.SaveRaw(ctx, coldseam.RawFetch{
				Profile: "northgauge-cap",
				URL:     "https://x.example",
				At:      b.Now(),
				Status:  200,
				Err:     "1 entry lacks",
				Gaps:    []coldseam.FeedGap{{Entry: "urn:7", Title: "Flood Watch", Why: "unread"}},
			})
			require.NoError(t, err)
		}},
		{"a feed never asked", "feed other", LevelFail, "never asked", func(*testing.T) {
			b.Config.Profiles = append(append([]ingest.Profile(nil), keep.Profiles...),
				ingest.Profile{Name: "other", Format: ingest.FormatCAP, BaseURL: "https://other.example"})
		}},
		{"what to measure", "tamsen-bend measure next", LevelOK, "1. time five floats", func(t *testing.T) {
			_, err := b.DB.SaveBrief(ctx, coldseam.Brief{
				Reach:     "tamsen-bend",
				Site:      "northgauge:NG-1001",
				Zone:      "America/Chicago",
				Day:       clubtest.Saturday,
				Issued:    b.Now(),
				GoodUntil: b.Now().Add(time.Hour),
				Measure:   []coldseam.Reason{{Code: "measure_float", Text: "time five floats at main seam"}},
				Reasons:   []coldseam.Reason{{Text: "gauge silent"}},
			})
			require.NoError(t, err)
		}},
		{"brief and its reason", "tamsen-bend brief", LevelOK, "NO CALL: gauge silent", func(*testing.T) {}},
		{"no max flow", "tamsen-bend max_flow", LevelFail, "missing", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.MaxFlowCFS = nil })
		}},
		{"hazards unsurveyed", "tamsen-bend hazards", levelWarn, "not surveyed", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.HazardsSurveyed = false })
		}},
		{"no flood stage", "tamsen-bend flood stage", levelWarn, "missing", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.FloodM, r.ActionM = nil, nil })
		}},
		{"no warnings", "tamsen-bend warnings", LevelFail, "no feed", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Alerts = "" })
		}},
		{"no zones", "tamsen-bend warnings", levelWarn, "by gauge code or position alone", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.AlertZones, r.GaugeCode = nil, "TAMX1" })
		}},
		{"zones of one kind", "tamsen-bend warnings", levelWarn, "names places such as UGC=XXZ011", func(t *testing.T) {
			require.NoError(t, b.DB.SaveAlerts(ctx, []coldseam.Alert{{
				Feed:       "northgauge-cap",
				Provider:   "northgauge",
				Sender:     "northgauge",
				Identifier: "planted",
				Status:     "Test",
				MsgType:    "Alert",
				Event:      "Flood Warning",
				Severity:   "Severe",
				Sent:       b.Now().Add(-time.Minute),
				From:       b.Now().Add(-time.Minute),
				End:        b.Now().Add(24 * time.Hour),
				KnownAt:    b.Now().Add(-time.Second),
				Areas:      []coldseam.AlertArea{{Geocodes: []string{"UGC=XXZ011"}}},
			}}))
		}},
		{"no forecast", "tamsen-bend weather", LevelFail, "no forecast point", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Weather = "" })
		}},
		{"no forecast yet", "tamsen-bend weather", LevelFail, "no forecast for metgrid:nowhere", func(t *testing.T) {
			s := coldseam.Site{ID: "metgrid:nowhere", Provider: "metgrid", Code: "nowhere", Zone: "UTC"}
			require.NoError(t, b.DB.PutSite(ctx, s))
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Weather = string(s.ID) })
		}},
		{"rule run out", "tamsen-bend rules", LevelFail, "season walleye: last checked 2025-03-01", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Rules[0].CheckedOn = "2025-03-01" })
		}},
		{"rule soon to be checked", "tamsen-bend rules", levelWarn, "runs out in", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Rules[0].CheckedOn = "2025-05-01" })
		}},
		{"rule never checked", "tamsen-bend rules", LevelFail, "never checked", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Rules[0].CheckedOn = "" })
		}},
		{"rule checked tomorrow", "tamsen-bend rules", LevelFail, "checked on 2036-03-01, which is to come",
			func(t *testing.T) {
				b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Rules[0].CheckedOn = "2036-03-01" })
			}},
		{"sounded tomorrow", "tamsen-bend soundings", levelWarn, "sounded 2036-03-01, which is to come",
			func(t *testing.T) {
				b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Spots[0].Sounded = "2036-03-01" })
			}},
		{"no season rule", "tamsen-bend rules", LevelFail, "no season rule", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Rules = nil })
		}},
		{"no depth", "tamsen-bend soundings", levelWarn, "main seam: no depth", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Spots[0].DepthFt = nil })
		}},
		{"old sounding", "tamsen-bend soundings", levelWarn, "main seam: sounded 2024-03-01", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Spots[0].Sounded = "2024-03-01" })
		}},
		{"no spots", "tamsen-bend soundings", levelWarn, "no spots", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.Spots = nil })
		}},
		{"once a day", "tamsen-bend gauge", levelWarn, "reports once a day", func(*testing.T) {
			b.Config.Sites = slices.Clone(keep.Sites)
			b.Config.Sites[0].DailyOnly = true
		}},
		{"limit edited in the file", "tamsen-bend max_flow", LevelOK, "900 cfs", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { *r = withFlow(*r, 900) })
		}},
		{"file not read yet", "tamsen-bend reach", levelWarn, "max_flow_m3s, hazards", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { *r = withFlow(*r, 900); r.Hazards = nil })
		}},
		{"reach of the file alone", "tamsen-new reach", LevelFail, "not in the database yet", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.ID = "tamsen-new" })
		}},
		{"reach of the database alone", "tamsen-bend reach", levelWarn, "not in the file", func(t *testing.T) {
			b.editReach(t, "tamsen-bend", func(r *config.Reach) { r.ID = "tamsen-new" })
		}},
	} {
		t.Run(c.name, func(t *testing.T) { // one club, one fault at a time: not parallel
			names, k := *b.names, *b.k
			names.txt, names.mx, names.addr = clone(names.txt), clone(names.mx), clone(names.addr)
			relay := b.Mail.Relay
			t.Cleanup(func() {
				*b.names, *b.k, b.Config, b.Mail.Relay = names, k, keep, relay
				require.NoError(t, b.SyncRivers(context.Background()))
			})
			live := *b.names
			live.txt, live.mx, live.addr = clone(names.txt), clone(names.mx), clone(names.addr)
			*b.names = live
			c.inject(t)
			wantLine(t, b.lines(t), c.key, c.level, c.text)
		})
	}
}

func (b *bench) sql(t *testing.T, sql string, args ...any) {
	t.Helper()
	_, err := b.DB.Pool().Exec(context.Background(), sql, args...)
	require.NoError(t, err)
}

// mail puts one row into the outbox in some state.
func (b *bench) mail(t *testing.T, state string, held bool) {
	t.Helper()
	id := b.Join(t, "one@club.net", coldseam.Preferences{})
	b.sql(t, `INSERT INTO coldseam.edition (kind, made_at, n, held) VALUES ('morning', $1, 1, $2)`, b.Now(), held)
	b.sql(t, `
		INSERT INTO coldseam.outbox (edition_id, subscriber_id, local_date, kind, state, priority, next_at, deadline, domain, message_id, payload, reply)
		VALUES ((SELECT max(edition_id) FROM coldseam.edition), $1, '2026-04-18', 'morning', $2, 3, $3, $3, 'x', '<x@x>', '', '<one@club.net> no reply')`, id, state, b.Now())
	t.Cleanup(func() { b.sql(t, `DELETE FROM coldseam.outbox`) })
}

// job puts one job into the queue.
func (b *bench) job(t *testing.T, state, due, ended string) {
	t.Helper()
	b.sql(t, `INSERT INTO river.river_job (kind, state, max_attempts, args, errors, queue, priority, scheduled_at, finalized_at)
		VALUES ('fetch', '`+state+`', 3, '{}', ARRAY['{"error": "out of paper"}'::jsonb], 'fetch', 1, `+due+`, `+ended+`)`)
	t.Cleanup(func() { b.sql(t, `DELETE FROM river.river_job`) })
}

// remote makes the relay one of another machine.
func (b *bench) remote(t *testing.T) {
	t.Helper()
	b.Mail.Relay.Addr = "relay.net:587"
}

func clone[V any](m map[string]V) map[string]V {
	out := make(map[string]V, len(m))
	for k, v := range m {
		out[k] = v
	}
	return out
}

// A gauge that falls silent, sends ice flags, has holes.
func TestCheckOfSeries(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.Clock.Forward(democlub.Start.Add(9 * time.Hour))
	lines := b.lines(t)
	wantLine(t, lines, "tamsen-bend flow", LevelFail, "newest 9 h old")
	wantLine(t, lines, "feed northgauge", LevelFail, "last good answer 9 h ago")
	wantLine(t, lines, "feed northgauge-cap", LevelFail, "last good answer 9 h ago")
	b.Clock.Forward(democlub.Start.Add(20 * time.Hour))
	wantLine(t, b.lines(t), "tamsen-bend weather", LevelFail, "issued")

	at := democlub.Start
	var obs []coldseam.Observation
	for i := range 40 {
		o := coldseam.Observation{At: at.Add(time.Duration(i) * 15 * time.Minute), Value: 100}
		if i > 20 {
			o.At = o.At.Add(8 * time.Hour)
		}
		if i%10 == 0 {
			o.Flag = coldseam.Ice
		}
		obs = append(obs, o)
	}

	n, longest := gapsOf(obs)
	require.Equal(t, 1, n)
	require.Equal(t, 8*time.Hour+15*time.Minute, longest)
	require.Equal(t, []string{"4 of 40 values under ice"}, flagsOf(obs))
}

// A service that renames a field, or sends another unit, is named with the
// field.
func TestCheckOfDocuments(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ctx := t.Context()
	proxy := mangle(t, b, strings.NewReplacer(`"qualifier"`, `"remark"`))
	require.NotEmpty(t, proxy)
	for i := range b.Config.Profiles {
		if b.Config.Profiles[i].Name == simagency.ProfileGauges {
			b.Config.Profiles[i].BaseURL = proxy
		}
	}
	_ = ctx
	lines := b.lines(t)
	wantLine(t, lines, "shape northgauge", levelWarn, "qualifier is gone")
	wantLine(t, lines, "units northgauge", LevelFail, "unit")
}

// mangle stores documents of the agency as if the service had changed them.
func mangle(t *testing.T, b *bench, r *strings.Replacer) string {
	t.Helper()
	kept, err := b.DB.NewestKept(t.Context())
	require.NoError(t, err)

	for _, f := range kept {
		if f.Profile != simagency.ProfileGauges || !strings.Contains(f.URL, "latest-continuous") {
			continue
		}
		body, err := b.DB.Payload(t.Context(), f.ID)
		require.NoError(t, err)
		text := strings.ReplaceAll(r.Replace(string(body)), `"ft^3/s"`, `"barrels per day"`)
		srv := httptest.NewServer(
			http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, text) }))
		t.Cleanup(srv.Close)

		p, err := b.Feeds.Fetcher.Profile(simagency.ProfileGauges)
		require.NoError(t, err)
		raw := coldseam.RawFetch{
			Profile:    p.Name,
			URL:        f.URL,
			At:         b.Now(),
			Status:     200,
			Bytes:      int64(len(text)),
			SHA256:     "x",
			Payload:    []byte(text),
			Attributes: shapeOf([]byte(text)),
		}
		_, err = b.DB.SaveRaw(t.Context(), raw)
		require.NoError(t, err)
		return srv.URL
	}

	return ""
}

func TestCheckBackupAge(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	path, err := backup.Make(t.Context(), b.DB, backup.Options{Dir: b.Config.Backup.Dir, Now: b.Now()})
	require.NoError(t, err)
	only := func() map[string][]Line {
		b.k.cfg, b.k.lines = b.Config, nil
		b.k.backups()
		return map[string][]Line{"backup": b.k.lines}
	}
	wantLine(t, only(), "backup", LevelOK, "whole")

	b.Clock.Forward(democlub.Start.Add(2 * env.Day))
	wantLine(t, only(), "backup", levelWarn, "48 h old")
	b.Clock.Forward(democlub.Start.Add(8 * env.Day))
	wantLine(t, only(), "backup", LevelFail, "8 d old")
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	raw[len(raw)/2] ^= 1
	require.NoError(t, os.WriteFile(path, raw, 0o600))
	wantLine(t, only(), "backup", LevelFail, "backup coldseam-2026")
}

// A database of another schema is named, and nothing else is tried on it.
func TestCheckOfSchemas(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.DB.Pool().Exec(t.Context(), `UPDATE coldseam.schema_version SET version = version + 1`)
	require.NoError(t, err)
	lines := b.lines(t)
	wantLine(t, lines, "migrations", LevelFail, "this program knows")
	require.Empty(t, lines["sending"])
	require.NotEmpty(t, lines["smtp"], "what needs no database is still looked at")
	_, err = b.DB.Pool().Exec(t.Context(), `UPDATE coldseam.schema_version SET version = 1`)
	require.NoError(t, err)
	wantLine(t, b.lines(t), "migrations", LevelFail, "schema 1, this program needs")
	b.DB.Close()
	wantLine(t, b.lines(t), "database", LevelFail, "")
}

// What keeps the program from being built at all still names line and cure.
func TestCheckWithoutAProgram(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name, key, fix string
		err            error
	}{
		{"no server programs", "database", "install", fmt.Errorf("initdb: %w", coldseam.ErrNotFound)},
		{"database down", "database", "start the database", fmt.Errorf("open: %w", coldseam.ErrUnavailable)},
		{"token key", "token key", "init", errors.New("mail.token_key_file: no such file")},
		{"dkim", "dkim key", "init", errors.New("dkim key: no PEM block")},
		{"password", "smtp password", "0600", errors.New("mail.password_file: no such file")},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := &checker{}
			k.notBuilt(c.err)
			require.Equal(t, c.key, k.lines[0].Key)
			require.Equal(t, LevelFail, k.lines[0].Level)
			require.Contains(t, k.lines[0].Fix, c.fix)
		})
	}

	var out bytes.Buffer
	path := filepath.Join(t.TempDir(), "coldseam.toml")
	require.NoError(t, os.WriteFile(path, []byte("database_url = 'postgres://127.0.0.1:1/none'\nstate_dir = '"+
		t.TempDir()+"'\n[club]\nname = 'Our Club'\n"), 0o600))
	err := (&Check{Offline: true}).Run(t.Context(), &env.Streams{Out: &out, Err: &out}, &env.Globals{Config: path})
	require.Equal(t, env.ExitCode{Code: 2}, err)
	for _, want := range []string{"fail  database", "disk of backups", "fail  public_url", "warn  bounces"} {
		require.Contains(t, out.String(), want, "a dead database hides no other fault")
	}
	out.Reset()
	err = (&Check{}).Run(t.Context(), &env.Streams{Out: &out, Err: &out},
		&env.Globals{Config: filepath.Join(t.TempDir(), "none.toml")})
	require.Equal(t, env.ExitCode{Code: 2}, err)
	require.Contains(t, out.String(), "coldseam init")
}

// Unknown mails that the relay's log names are sent; the others stay.
func TestReconcile(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	v.Join(t, "one@club.example.org", coldseam.Preferences{})
	v.Join(t, "two@club.example.org", coldseam.Preferences{})
	_, err := v.DB.Pool().Exec(ctx, `INSERT INTO coldseam.edition (kind, made_at, n) VALUES ('morning', $1, 2)`,
		v.Now())
	require.NoError(t, err)

	_, err = v.DB.Pool().Exec(ctx, `
		INSERT INTO coldseam.outbox (edition_id, subscriber_id, local_date, kind, state, priority, next_at, deadline, domain, message_id, payload)
		SELECT (SELECT max(edition_id) FROM coldseam.edition), subscriber_id, '2026-04-18', 'morning', 'unknown', 3, $1, $1, 'x', '<20260418.' || subscriber_id || '@x>', ''
		FROM coldseam.subscriber`, v.Now())
	require.NoError(t, err)
	list, err := v.DB.UnknownMails(ctx)
	require.NoError(t, err)
	require.Len(t, list, 2)

	log := filepath.Join(t.TempDir(), "mail.log")
	require.NoError(t, os.WriteFile(log, []byte("Apr 18 04:46 mx relay[1]: ABC: message-id="+list[0].MessageID+"\n"),
		0o600))
	var out bytes.Buffer
	require.NoError(t, (&Check{MailLog: log}).reconcile(ctx, &out, v.Parts))
	require.Contains(t, out.String(),
		"1 of 2 mails without an answer stand in the relay's log and are sent; 1 are not there")
	left, err := v.DB.UnknownMails(ctx)
	require.NoError(t, err)
	require.Equal(t, list[1:], left)
	require.ErrorContains(t, (&Check{MailLog: "/nowhere"}).reconcile(ctx, &out, v.Parts), "--mail-log")
}

// The records that --dns prints satisfy the check that reads them.
func TestRecordsToPaste(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.k.cfg = b.Config
	var out bytes.Buffer
	require.NoError(t, (&Check{}).records(t.Context(), &out, b.k))

	names := &fakeNames{txt: map[string][]string{}, mx: map[string]string{}}
	for _, l := range strings.Split(out.String(), "\n") {
		name, rest, _ := strings.Cut(l, ". IN ")
		if v, ok := strings.CutPrefix(rest, "TXT "); ok {
			names.txt[name] = []string{strings.ReplaceAll(strings.Trim(v, `"`), `" "`, "")}
		}
		if v, ok := strings.CutPrefix(rest, "MX 10 "); ok {
			names.mx[name] = v
		}
		for _, s := range strings.Split(rest, `" "`) {
			require.LessOrEqual(t, len(strings.Trim(strings.TrimPrefix(s, "TXT "), `"`)), 255)
		}
	}

	b.k.net.names = names
	lines := b.lines(t)
	for _, key := range []string{"spf", "dkim", "dmarc", "bounces"} {
		wantLine(t, lines, key, LevelOK, "")
	}
}

func TestLiveProbe(t *testing.T) {
	t.Parallel()
	code := http.StatusOK
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		require.Equal(t, "/livez", r.URL.Path)
		w.WriteHeader(code)
	}))
	defer srv.Close()
	_, port, err := net.SplitHostPort(strings.TrimPrefix(srv.URL, "http://"))
	require.NoError(t, err)
	ask := func() error { return (&Check{}).live(t.Context(), config.Config{Listen: "0.0.0.0:" + port}, nil) }
	require.NoError(t, ask())
	code = http.StatusServiceUnavailable
	require.ErrorContains(t, ask(), "503")
	srv.Close()
	require.ErrorContains(t, ask(), "does not answer")
}

func shapeOf(body []byte) string { return ingest.SchemaOf(body).Pack() }

// A sand spot is washed out by a flood after its sounding; a flood before it,
// or a short record, says nothing.
func TestFloodedSince(t *testing.T) {
	t.Parallel()
	d := coldseam.Days{First: coldseam.Date{Year: 2025, Month: time.January, Day: 1}}
	for i := range 400 {
		q := 50.0 + float64(i%7)
		if i == 200 {
			q = 900
		}
		d.FlowM3S = append(d.FlowM3S, q)
	}
	require.Equal(t, d.Day(200), floodedSince(d, d.Day(150)))
	require.True(t, floodedSince(d, d.Day(200)).IsZero(), "sounded on the day of the flood or after")
	require.True(t, floodedSince(d, coldseam.Date{}).IsZero())
	d.FlowM3S = d.FlowM3S[:300]
	require.True(t, floodedSince(d, d.Day(150)).IsZero())
}

// A configuration of version 0 of the US service is told to change; the shipped
// one is not.
func TestCheckOfVersions(t *testing.T) {
	t.Parallel()
	cfg, err := config.Load("../../../deploy/coldseam.toml")
	require.NoError(t, err)
	k := &checker{cfg: cfg}
	k.versions()
	require.Empty(t, k.lines)

	p := &k.cfg.Profiles[0]
	p.BaseURL = strings.Replace(p.BaseURL, "v1", "v0", 1)
	k.versions()
	require.Len(t, k.lines, 1)
	require.Equal(t, levelWarn, k.lines[0].Level)
	require.Contains(t, k.lines[0].Fix, "v0: change to v1")
}
