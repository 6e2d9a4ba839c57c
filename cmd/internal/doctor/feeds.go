package doctor

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// feedAges compares the last good answer of every feed with its pace.
func (k *checker) feedAges(ctx context.Context) {
	ages, err := k.app.Env.DB.FeedAges(ctx)
	if err != nil {
		k.broken("feeds", err)
		return
	}
	for _, p := range k.cfg.Profiles {
		if !k.wanted(p.Name) {
			continue
		}
		k.feedAge(p.WithDefaults(), ages)
	}
}

// versions names profiles that ask the US service by its first version.
func (k *checker) versions() {
	for _, p := range k.cfg.Profiles {
		old := strings.Contains(p.BaseURL+p.Path, "/ogcapi/v0")
		for _, e := range p.Endpoints {
			old = old || strings.Contains(e.Path, "/ogcapi/v0")
		}
		if old {
			k.add("version "+p.Name, levelWarn, "base_url says ogcapi/v0", "ogcapi/v1",
				"v0: change to v1, and `time` of its queries to `datetime`; until then v0 answers and its pages go on in v1")
		}
	}
}

// wanted reports whether the configuration fetches anything of a profile.
func (k *checker) wanted(profile string) bool {
	for _, f := range feeds.Plan(k.cfg) {
		if f.Profile == profile {
			return true
		}
	}
	return false
}

func (k *checker) feedAge(p ingest.Profile, ages []store.FeedAge) {
	var lastOK, lastTry time.Time
	failing, text := 0, ""
	var lacks []string
	for _, a := range ages {
		if a.Profile != p.Name {
			continue
		}
		for _, g := range a.Gaps {
			lacks = append(lacks, notify.GapWords(g))
		}
		lastOK, lastTry = feeds.Later(lastOK, a.LastOK), feeds.Later(lastTry, a.LastTry)
		if a.Failures > failing {
			failing, text = a.Failures, a.Err
		}
	}

	key := "feed " + p.Name
	limit := time.Duration(p.MaxAge)
	if limit == 0 {
		limit = max(3*time.Duration(p.Poll), 6*time.Hour)
	}
	if p.Format == ingest.FormatCAP { // the decision is stricter with warnings
		limit = time.Duration(k.app.Env.Table.AlertAgeH * float64(time.Hour))
	}
	fix := "coldseam fetch --feed " + p.Name + " shows what the service answers"

	switch old := k.now().Sub(lastOK); {
	case lastTry.IsZero():
		k.add(key, LevelFail, "never asked", "an answer at least every "+env.Age(limit), "start the service, or "+fix)
	case lastOK.IsZero():
		k.add(key, LevelFail, "no good answer yet: "+text, "one good answer", fix)
	case old > limit:
		if len(lacks) > 0 {
			text = strings.Join(lacks, "; ")
		}
		k.add(key, LevelFail, fmt.Sprintf("last good answer %s ago; %d failures in a row: %s", env.Age(old), failing,
			text), "at most "+env.Age(limit), fix)
	case len(lacks) > 0:
		k.add(key, levelWarn, fmt.Sprintf("not complete, last complete answer %s ago: %s", env.Age(old),
			strings.Join(lacks, "; ")), "every entry that may concern a reach", fix)
	case failing > 0:
		k.add(key, levelWarn, fmt.Sprintf("last good answer %s ago, now %d failures in a row: %s", env.Age(old),
			failing, text), "no failures", fix)
	default:
		k.ok(key, "last good answer %s ago", env.Age(old))
	}
}

// shapeMemory is how long a change of a document's shape is shown.
const shapeMemory = 7 * env.Day

// shapes names the field that moved where a service changed its documents.
func (k *checker) shapes(ctx context.Context) {
	pairs, err := k.app.Env.DB.LastShapes(ctx, k.now().Add(-shapeMemory))
	if err != nil {
		k.broken("document shapes", err)
		return
	}

	bad := 0
	for _, pair := range pairs {
		_, now := ingest.UnpackSchema(pair[0].Attributes)
		_, before := ingest.UnpackSchema(pair[1].Attributes)
		if now == nil || before == nil {
			continue
		}
		moved := now.Moved(before)
		if len(moved) == 0 {
			continue
		}

		bad++
		words := moved[0]
		if len(moved) > 1 {
			words += fmt.Sprintf(" and %d more", len(moved)-1)
		}
		k.add("shape "+pair[0].Profile, levelWarn, fmt.Sprintf("since %s: %s", pair[0].At.Format("2 Jan 15:04 MST"),
			words), "documents as before",
			"look whether values still come (coldseam parse --json on the document); name a renamed field in [profile.fields]")
	}

	if bad == 0 {
		k.ok("document shapes", "unchanged for %s", env.Age(shapeMemory))
	}
}

// units reads the newest kept document of each feed again: which unit each
// parameter was found in, and what the parser had to leave out.
func (k *checker) units(ctx context.Context) {
	list, err := k.app.Env.DB.NewestKept(ctx)
	if err != nil {
		k.broken("units", err)
		return
	}

	found := map[string]map[string]bool{}
	left := map[string]string{}

	for _, f := range list {
		if !k.wanted(f.Profile) || k.now().Sub(f.At) > shapeMemory {
			continue
		}
		b, err := k.reread(ctx, f)
		if err != nil {
			left[f.Profile] = "the newest document cannot be read: " + err.Error()
			continue
		}

		if found[f.Profile] == nil {
			found[f.Profile] = map[string]bool{}
		}
		for _, m := range b.Meta {
			if m.Unit != "" {
				found[f.Profile][string(m.Key.Param)+" "+m.Unit] = true
			}
		}

		for _, x := range b.Skipped {
			if x.Code == ingest.CodeUnit {
				left[f.Profile] = "left out " + x.What + ": " + x.Why
			}
		}
	}

	names := map[string]bool{}
	for p := range found {
		names[p] = true
	}
	for p := range left {
		names[p] = true
	}

	for _, p := range slices.Sorted(maps.Keys(names)) {
		if why := left[p]; why != "" {
			k.add("units "+p, LevelFail, why, "units coldseam knows",
				"name the unit in [profile.unit_aliases] or [profile.units] after looking at the agency's page")
			continue
		}
		if len(found[p]) > 0 {
			k.ok("units "+p, "%s", strings.Join(slices.Sorted(maps.Keys(found[p])), ", "))
		}
	}
}

func (k *checker) reread(ctx context.Context, f store.FetchRecord) (ingest.Batch, error) {
	p, err := k.app.Feeds.ProfileOf(f)
	if err != nil {
		return ingest.Batch{}, err
	}
	body, err := k.app.Env.DB.Payload(ctx, f.ID)
	if err != nil {
		return ingest.Batch{}, err
	}
	return detect.Parse(bytes.NewReader(body), p.WithDefaults())
}

// gauge looks at the series a reach is judged by: age, holes and flags.
func (k *checker) gauge(ctx context.Context, r coldseam.Reach) {
	temp := r.TempSite
	if temp == "" {
		temp = r.Site
	}
	for _, w := range []struct {
		site   coldseam.SiteID
		param  coldseam.Parameter
		limit  time.Duration
		needed bool
	}{
		{r.Site, coldseam.Discharge, time.Duration(k.app.Env.Table.GaugeAgeH * float64(time.Hour)), true},
		{r.Site, coldseam.Stage, time.Duration(k.app.Env.Table.GaugeAgeH * float64(time.Hour)), r.FloodStageM != nil},
		{temp, coldseam.WaterTemp, time.Duration(k.app.Env.Table.WaterAgeD * float64(env.Day)), true},
	} {
		k.series(ctx, r, w.site, w.param, w.limit, w.needed)
	}
}

// forecast looks at the newest issue of the weather a reach is judged by: what
// it lacks and how old it is.
func (k *checker) forecast(ctx context.Context, r coldseam.Reach) {
	if r.WeatherSite == "" {
		return // the line `weather` says it
	}
	key, limit := string(r.ID)+" weather", time.Duration(k.app.Env.Table.WeatherAgeH*float64(time.Hour))
	var oldest time.Time

	var lacks []string
	for _, p := range []coldseam.Parameter{coldseam.AirTemp, coldseam.Wind, coldseam.Gust, coldseam.Precip,
		coldseam.ThunderProb} {
		fs, err := k.app.Env.DB.Forecasts(ctx, r.WeatherSite, p, k.now())
		if err != nil || len(fs) == 0 {
			lacks = append(lacks, string(p))
			continue
		}
		if oldest.IsZero() || fs[0].Issued.Before(oldest) {
			oldest = fs[0].Issued
		}
	}

	fix := "coldseam fetch; see the line of its feed"
	switch old := k.now().Sub(oldest); {
	case oldest.IsZero():
		k.add(key, LevelFail, "no forecast for "+string(r.WeatherSite), "air, wind, gusts, rain, thunder", fix)
	case len(lacks) > 0:
		k.add(key, levelWarn, "lacks "+strings.Join(lacks, ", "), "air, wind, gusts, rain, thunder",
			"name the service's own words in [profile.parameters]; without gusts or thunder odds the verdict is NO CALL unless [thresholds] allow_no_gust or allow_no_thunder")
	case old > limit:
		k.add(key, LevelFail, fmt.Sprintf("issued %s ago", env.Age(old)), "at most "+env.Age(limit), fix)
	default:
		k.ok(key, "issued %s ago, all five quantities", env.Age(max(old, time.Minute)))
	}
}

func (k *checker) series(ctx context.Context, r coldseam.Reach, site coldseam.SiteID, param coldseam.Parameter,
	limit time.Duration, needed bool) {
	key := string(r.ID) + " " + strings.ToLower(env.ParamWords[param])
	now := k.now()
	s, err := k.app.Env.DB.History(ctx, site, param, coldseam.Instant, now.Add(-7*env.Day), now, now)
	if err != nil || len(s.Obs) == 0 {
		if !needed {
			return
		}
		level, wanted := LevelFail, "short-interval values"
		if k.daily(ctx, site, param) {
			if param == coldseam.Discharge {
				k.add(key, levelWarn, "daily means alone", wanted,
					"a once-a-day gauge can never give GO: find one that reports more often")
				return
			}
			level = levelWarn
		}

		fix := "coldseam fetch; then see the feed's line, and whether the agency's own page shows newer values"
		if param == coldseam.WaterTemp {
			fix = "coldseam fetch; see the feed's line, or set temp_site to a neighbour with a thermometer"
		}
		k.add(key, level, "no value of the last 7 days at "+string(site), wanted, fix)
		return
	}

	last, usable := s.Last()
	words := []string{fmt.Sprintf("newest %s old", env.Age(max(now.Sub(last.At), time.Minute)))}
	gaps, longest := gapsOf(s.Obs)
	if gaps > 0 {
		words = append(words, fmt.Sprintf("%d gaps in 7 days, the longest %s", gaps, env.Age(longest)))
	}

	words = append(words, flagsOf(s.Obs)...)
	found := strings.Join(words, "; ")
	switch {
	case !usable:
		k.add(key, LevelFail, "no usable value in 7 days; "+strings.Join(flagsOf(s.Obs), "; "),
			"values that pass the checks", "look at the agency's page of the gauge: ice, a stuck or broken sensor")
	case now.Sub(last.At) > limit:
		k.add(key, LevelFail, found, "at most "+env.Age(limit),
			"the gauge is silent: look at the agency's page; the mail says NO CALL until it speaks")
	case longest > limit:
		k.add(key, levelWarn, found, "no hole longer than "+env.Age(limit), "coldseam fetch --from DATE may fill it")
	default:
		k.ok(key, "%s", found)
	}
}

func (k *checker) daily(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter) bool {
	now := k.now()
	s, err := k.app.Env.DB.History(ctx, site, param, coldseam.Mean, now.Add(-10*env.Day), now, now)
	return err == nil && len(s.Obs) > 0
}

// gapsOf counts steps of more than three times the usual one.
func gapsOf(obs []coldseam.Observation) (n int, longest time.Duration) {
	if len(obs) < 3 {
		return 0, 0
	}
	steps := make([]time.Duration, 0, len(obs)-1)
	for i := 1; i < len(obs); i++ {
		steps = append(steps, obs[i].At.Sub(obs[i-1].At))
	}
	sorted := append([]time.Duration(nil), steps...)
	sort.Slice(sorted, func(i, j int) bool { return sorted[i] < sorted[j] })
	usual := sorted[len(sorted)/2]
	for _, d := range steps {
		if d > 3*usual {
			n, longest = n+1, max(longest, d)
		}
	}
	return n, longest
}

// flagWord says each flag to a person; "" = no news.
var flagWord = map[string]string{
	"provisional": "", "approved": "", "gap": "",
	"missing": "without a value", "estimated": "estimated by the agency", "ice": "under ice",
	"equipment": "with equipment trouble",
	"suspect":   "doubted by the agency", "bad": "called bad by the agency", "range": "out of range",
	"spike": "are spikes", "rate": "change too fast",
	"flat": "stuck", "sentinel": "are code numbers", "fail": "left out of the forecast",
	"unit": "look like another unit",
}

// flagsOf says in words how many values of a week are doubted and why; the
// usual "provisional" is no news.
func flagsOf(obs []coldseam.Observation) []string {
	count := map[string]int{}
	for i := range obs {
		for _, n := range obs[i].Flag.Names() {
			count[n]++
		}
	}
	var out []string
	for _, n := range slices.Sorted(maps.Keys(count)) {
		w, known := flagWord[n]
		if !known {
			w = n
		}
		if w != "" {
			out = append(out, fmt.Sprintf("%d of %d values %s", count[n], len(obs), w))
		}
	}
	return out
}
