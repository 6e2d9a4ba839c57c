package doctor

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/ingest/capalert"
	"example.org/coldseam/notify"
)

// Ages at which what a person looked up or measured wants another look
// [proposal].
const (
	ruleSoon    = 30 * env.Day
	soundingOld = 400 * env.Day
)

// reaches looks at what only the admin can know of each reach.
func (k *checker) reaches(ctx context.Context) {
	stored, err := k.app.Env.DB.Reaches(ctx)
	if err != nil {
		k.broken("reaches", err)
		return
	}

	if len(k.cfg.Reaches) == 0 {
		k.add("reaches", LevelFail, "none in the file", "at least one river",
			"coldseam site add finds gauges and adds a river")
	}

	for _, x := range k.cfg.Reaches {
		r, err := x.Build(k.cfg)
		if err != nil {
			k.add(x.ID+" reach", LevelFail, err.Error(), "a [[reach]] that can be read", "mend the file")
			continue
		}

		if k.entered(r, stored) {
			k.gauge(ctx, r)
			k.forecast(ctx, r)
			k.ice(ctx, r)
			k.trusted(ctx, r)
		}

		k.limitsOf(ctx, r)
		k.rules(r)
		k.spots(ctx, r)
		k.measure(ctx, r)
	}

	for _, r := range stored {
		if !slices.ContainsFunc(k.cfg.Reaches, func(x config.Reach) bool { return x.ID == string(r.ID) }) {
			k.add(string(r.ID)+" reach", levelWarn, "in the database, not in the file", "the same reaches in both",
				"write its [[reach]] again: until then it goes on as it was")
		}
	}
}

// entered compares a reach of the file with the one the service works by; it
// reports whether there is one.
func (k *checker) entered(r coldseam.Reach, stored []coldseam.Reach) bool {
	key := string(r.ID) + " reach"
	i := slices.IndexFunc(stored, func(o coldseam.Reach) bool { return o.ID == r.ID })
	if i < 0 {
		k.add(key, LevelFail, "in the file, not in the database yet", "the same in both",
			"coldseam fetch enters it and asks its feeds; so does the service when it starts")
		return false
	}
	if parts := env.Changed(stored[i], r); len(parts) > 0 {
		k.add(key, levelWarn, "edited since the service read the file: "+strings.Join(parts, ", "),
			"the same in file and database",
			"start the service anew: until then it works by the old values; the lines below judge the file")
	}
	return true
}

// warningCodes looks whether warnings of the feed come under a kind of code that
// the reach lists none of: counties and forecast zones are two.
func (k *checker) warningCodes(ctx context.Context, key string, r coldseam.Reach) {
	as, err := k.app.Env.DB.Alerts(ctx, r.AlertFeed, k.now())
	if err != nil {
		k.broken(key, err)
		return
	}
	for _, a := range as {
		if code := capalert.Unlisted(a, r); code != "" {
			k.add(key, levelWarn, "alert_zones are "+strings.Join(r.AlertZones, ", ")+
				"; the feed names places such as "+code, "a code of each kind that the feed uses",
				"list the county and the forecast zone of the reach: a warning under a kind of which it lists none caps the word at TOSS-UP")
			return
		}
	}
	k.ok(key, "found by %s", strings.Join(r.AlertZones, ", "))
}

// limitsOf names what keeps a reach from ever reading GO.
func (k *checker) limitsOf(ctx context.Context, r coldseam.Reach) {
	key := func(what string) string { return string(r.ID) + " " + what }
	const edit = "edit the [[reach]] in the configuration"
	if r.MaxFlowM3S == nil {
		k.add(key("max_flow"), LevelFail, "missing", "the flow above which nobody should go",
			edit+"; `coldseam reach limit show "+string(r.ID)+"` lists what the record proposes")
	} else {
		k.limit(ctx, key("max_flow"), r)
	}

	switch {
	case !r.HazardsSurveyed:
		k.add(key("hazards"), levelWarn, "not surveyed", "a list from a person who ran the reach",
			edit+": hazards, hazards_surveyed = true; until then the verdict stays at TOSS-UP")
	case len(r.Hazards) == 0:
		k.ok(key("hazards"), "surveyed, none known")
	default:
		k.ok(key("hazards"), "%d listed", len(r.Hazards))
	}

	said := func(s string) string { return map[bool]string{true: "none", false: "given"}[s == ""] }
	k.ok(key("trip card"), "emergency points: %d; leave mark: %s; siren: %s", len(r.Emergency), said(r.LeaveMark),
		said(r.Siren))
	k.floodLevels(ctx, r)
	if r.FloodStageM == nil {
		k.add(key("flood stage"), levelWarn, "missing", "the stage of minor flood",
			edit+": flood_stage_ft, from the agency's flood page; the official warnings still stop")
	}
	switch {
	case r.AlertFeed == "" || len(r.AlertZones) == 0 && r.GaugeCode == "":
		k.add(key("warnings"), LevelFail, "no feed of official warnings for it",
			"alerts with alert_zones or gauge_code", edit+"; without them every morning is NO CALL")
	case len(r.AlertZones) == 0:
		k.add(key("warnings"), levelWarn, "found by gauge code or position alone",
			"alert_zones beside gauge_code: many services leave the code out",
			edit+": alert_zones, the county and the zone codes of the agency's warnings page")
	default:
		k.warningCodes(ctx, key("warnings"), r)
	}

	if r.WeatherSite == "" {
		k.add(key("weather"), LevelFail, "no forecast point", "weather = the id of a [[site]] of a forecast profile",
			edit+"; wind, thunder and cold stops rest on it")
	}
	for _, s := range k.cfg.Sites {
		if s.ID != string(r.Site) || !s.DailyOnly {
			continue
		}
		k.add(key("gauge"), levelWarn, s.ID+" reports once a day", "a gauge that reports at least hourly",
			"it can never give GO: find another, or live with it")
	}
}

// limit shows the flow limit beside what the record would propose.
func (k *checker) limit(ctx context.Context, key string, r coldseam.Reach) {
	list, err := k.app.Morning.FlowCandidates(ctx, r)
	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		k.broken(key, err)
	}

	var others []string
	for _, c := range list {
		others = append(others, morning.CandidateWords(c))
	}
	found := morning.LimitWords(r)
	if len(others) > 0 {
		found += ". The record gives: " + strings.Join(others, "; ")
	}

	if r.MaxFlowProposed {
		k.add(key, levelWarn, found,
			"the word of a person who knows the reach; until then the verdict stays at TOSS-UP",
			"coldseam reach limit confirm "+string(r.ID)+
				" --craft boat --why TEXT, or another max_flow in the configuration")
		return
	}
	k.ok(key, "%s", found)
}

// rules looks at the day each rule was last compared with its source.
func (k *checker) rules(r coldseam.Reach) {
	key := string(r.ID) + " rules"
	limit := time.Duration(k.app.Env.Table.RuleAgeD * float64(env.Day))
	today := coldseam.DateOf(k.now().In(env.Zone(r.Zone)))
	const fix = "read the link, mend the rule if it changed, set checked_on and checked_by"
	season, bad := false, 0

	for _, x := range r.Rules {
		season = season || x.Kind == coldseam.RuleSeason
		name := strings.TrimSpace(string(x.Kind) + " " + x.Species)
		if x.Link == "" {
			k.add(key, levelWarn, name+": no link", "where the rule is published", "add link to the [[reach.rule]]")
			bad++
		}

		if x.CheckedOn.IsZero() {
			k.add(key, LevelFail, name+": never checked", "checked by a person within "+env.Age(limit), fix)
			bad++
			continue
		}

		old := time.Duration(today.Sub(x.CheckedOn)) * env.Day
		switch {
		case old < 0:
			k.add(key, LevelFail, fmt.Sprintf("%s: checked on %s, which is to come", name, x.CheckedOn),
				"a day that is over; never GO until then", fix+": "+x.Link)
			bad++
		case old > limit:
			k.add(key, LevelFail, fmt.Sprintf("%s: last checked %s, %s ago", name, x.CheckedOn, env.Age(old)),
				"within "+env.Age(limit)+"; never GO until then", fix+": "+x.Link)
			bad++
		case old > limit-ruleSoon:
			k.add(key, levelWarn, fmt.Sprintf("%s: last checked %s; runs out in %s", name, x.CheckedOn,
				env.Age(limit-old)), "within "+env.Age(limit), fix+": "+x.Link)
			bad++
		}
	}

	if !season {
		k.add(key, LevelFail, "no season rule", "open and closed dates of "+strings.Join(r.Species, ", ")+
			", with link and check date", "add a [[reach.rule]] of kind season; never GO without it")
		return
	}
	if bad == 0 {
		k.ok(key, "%d, all checked within %s", len(r.Rules), env.Age(limit))
	}
}

// spots names soundings that are missing, old, or washed away.
func (k *checker) spots(ctx context.Context, r coldseam.Reach) {
	key := string(r.ID) + " soundings"
	if len(r.Spots) == 0 {
		k.add(key, levelWarn, "no spots", "at least one sounded spot",
			"add a [[reach.spot]]: without it there is no weight")
		return
	}

	today := coldseam.DateOf(k.now().In(env.Zone(r.Zone)))
	frame, err := k.app.Env.DB.DailyFrame(ctx, r.Site, r.TempSite, r.AirSite, k.now(), r.Zone)
	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		k.broken(key, err)
	}
	bad := 0

	for _, s := range r.Spots {
		found, fix := "", "sound it again and note the day and the stage"
		old := time.Duration(today.Sub(s.Sounded)) * env.Day
		switch flood := floodedSince(frame, s.Sounded); {
		case s.DepthRefM == nil:
			found, fix = s.Name+": no depth", "sound it: without a depth there is no weight"
		case s.Sounded.IsZero():
			found = s.Name + ": sounded, but no day"
		case old < 0:
			found = fmt.Sprintf("%s: sounded %s, which is to come", s.Name, s.Sounded)
		case s.Bed == "sand" && !flood.IsZero():
			found = fmt.Sprintf("%s: sand, and the river ran above its 95th percentile on %s, after the sounding",
				s.Name, flood)
		case old > soundingOld:
			found = fmt.Sprintf("%s: sounded %s, %s ago", s.Name, s.Sounded, env.Age(old))
		default:
			continue
		}

		bad++
		k.add(key, levelWarn, found, "a depth sounded since the last flood, at most a year old", fix)
	}

	if bad == 0 {
		k.ok(key, "%d spots, none run out", len(r.Spots))
	}
}

const yearOfDays = 365

// floodedSince is the last day above the record's 95th percentile after d; the
// zero date when there was none.
func floodedSince(f coldseam.Days, d coldseam.Date) coldseam.Date {
	var all []float64
	for _, q := range f.FlowM3S {
		if !math.IsNaN(q) {
			all = append(all, q)
		}
	}
	if len(all) < yearOfDays || d.IsZero() { // a percentile of some weeks is none
		return coldseam.Date{}
	}
	p95 := coldseam.Quantile(all, .95)
	for i := len(f.FlowM3S) - 1; i > max(f.Index(d), 0); i-- {
		if f.FlowM3S[i] > p95 {
			return f.Day(i)
		}
	}
	return coldseam.Date{}
}

// measure repeats what the newest brief says would narrow the weight most.
func (k *checker) measure(ctx context.Context, r coldseam.Reach) {
	today := coldseam.DateOf(k.now().In(env.Zone(r.Zone)))
	for _, d := range []coldseam.Date{today.Add(1), today, today.Add(-1)} {
		b, err := k.app.Env.DB.Brief(ctx, r.ID, d)
		if err != nil {
			continue
		}
		for i, m := range b.Measure {
			if i == 3 {
				break
			}
			k.ok(string(r.ID)+" measure next", "%d. %s", i+1, notify.ReasonText(m, "", r.Zone))
		}
		return
	}
}

// briefs looks whether the morning's brief is made in time.
func (k *checker) briefs(ctx context.Context) {
	reaches, err := k.app.Env.DB.Reaches(ctx)
	if err != nil {
		k.broken("briefs", err)
		return
	}

	for _, r := range reaches {
		key := string(r.ID) + " brief"
		now := k.now()
		today := coldseam.DateOf(now.In(env.Zone(r.Zone)))
		b, err := k.app.Env.DB.Brief(ctx, r.ID, today)
		if errors.Is(err, coldseam.ErrNotFound) {
			k.add(key, levelWarn, "none for "+today.String(), "one made within six hours",
				"start the service, or coldseam brief --save; the log of the service names what fails")
			continue
		}

		if err != nil {
			k.broken(key, err)
			continue
		}

		word, words := b.Verdict.String(), notify.WordsFor("us", r.Zone)
		if b.Verdict == coldseam.NoCall && len(b.Reasons) > 0 {
			word += ": " + notify.ReasonText(b.Reasons[0], "", r.Zone)
		}
		for _, in := range b.Inputs {
			if in.Doubt.Code != "" {
				k.add(string(r.ID)+" "+in.Key, levelWarn, words.Doubt(in), "readings that agree with each other",
					"compare with the station's own page and tell the agency; until readings agree again the reach has no call")
			}
		}

		k.ok(key, "%s, made %s ago", word, env.Age(max(now.Sub(b.Issued), time.Minute)))
	}
}

// trusted names readings of the newest brief that carry no word, and the command
// by which a person can stand for them.
func (k *checker) trusted(ctx context.Context, r coldseam.Reach) {
	zone := env.Zone(r.Zone)
	b, err := k.app.Env.DB.Brief(ctx, r.ID, coldseam.DateOf(k.now().In(zone)))
	if err != nil {
		return // the line of the brief says it
	}
	for _, in := range b.Inputs {
		if in.Doubt.Code == "" {
			continue
		}
		from, to := in.Doubt.At.In(zone).Format("2006-01-02T15:04"), b.Issued.In(zone).Format("2006-01-02T15:04")
		k.add(string(r.ID)+" "+in.Key, levelWarn, notify.Plain(notify.WordsFor("us", r.Zone).Doubt(in)),
			"readings that carry a word",
			fmt.Sprintf("if they are right: coldseam reading confirm %s --parameter %s --from %s --to %s --why TEXT",
				r.ID, in.Key, from, to))
	}
}

// ice says the state of a reach, since when and why.
func (k *checker) ice(ctx context.Context, r coldseam.Reach) {
	key := string(r.ID) + " ice"
	s, err := k.app.Morning.IceNow(ctx, r)
	open := fmt.Sprintf("look at the river, then coldseam reach ice open %s --why TEXT: good for a day", r.ID)
	switch {
	case err != nil:
		k.broken(key, err)
	case s.State == ice.Unknown:
		k.add(key, levelWarn, morning.IceWords(s),
			"two full days of water at 1 C, or what a reach without a thermometer needs", open)
	case s.State == ice.Open && !s.OpenedAt.IsZero():
		k.ok(key, "open by the admin's word of %s, TOSS-UP at most",
			s.OpenedAt.In(env.Zone(r.Zone)).Format("Mon 15:04"))
	case s.State == ice.Open && s.Unwatched:
		k.add(key, levelWarn, morning.IceWords(s)+"; no thermometer",
			"the admin's word after the ice; TOSS-UP at most until then", open)
	default:
		k.ok(key, "%s", morning.IceWords(s))
	}
}
