package config

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// Build turns a [[site]] table into the vocabulary.
func (s Site) Build() coldseam.Site {
	out := coldseam.Site{ID: coldseam.SiteID(s.ID), Provider: s.Provider, Code: s.Code, Name: s.Name, Zone: s.Zone,
		Lat: s.Lat, Lon: s.Lon, Tidal: s.Tidal, DailyOnly: s.DailyOnly}
	if s.DrainageKM2 > 0 {
		out.DrainageKM2 = &s.DrainageKM2
	}
	return out
}

// Build turns a [[reach]] table into the vocabulary; it refuses a quantity
// given in both unit systems and dates it cannot read.
func (r Reach) Build(c Config) (coldseam.Reach, error) {
	var err error
	pick := func(what string, si, us *float64, factor float64) *float64 {
		if si != nil && us != nil && err == nil {
			err = fmt.Errorf("%s is given in both unit systems: %w", what, coldseam.ErrInvalid)
		}
		if si == nil && us != nil {
			v := *us * factor
			return &v
		}
		return si
	}

	date := func(what, s string) coldseam.Date {
		var d coldseam.Date
		if s != "" && err == nil {
			if d, err = coldseam.ParseDate(s); err != nil {
				err = fmt.Errorf("%s: %w", what, err)
			}
		}
		return d
	}

	out := coldseam.Reach{
		ID:              coldseam.ReachID(r.ID),
		River:           r.River,
		Name:            r.Name,
		Site:            coldseam.SiteID(r.Site),
		Zone:            r.Zone,
		Lat:             r.Lat,
		Lon:             r.Lon,
		GaugeKM:         r.GaugeKM,
		TempSite:        coldseam.SiteID(r.TempSite),
		Regulated:       r.Regulated,
		AirSite:         coldseam.SiteID(r.AirSite),
		CountSite:       coldseam.SiteID(r.CountSite),
		WeatherSite:     coldseam.SiteID(r.Weather),
		AlertFeed:       r.Alerts,
		AgencySite:      coldseam.SiteID(r.FlowForecast),
		StageSite:       coldseam.SiteID(r.StageForecast),
		DamCycle:        r.DamCycle,
		GaugeCode:       r.GaugeCode,
		AlertZones:      r.AlertZones,
		MaxFlowWhy:      r.MaxFlowWhy,
		CurrentDeg:      r.CurrentDeg,
		HazardsSurveyed: r.HazardsSurveyed,
		Hazards:         r.Hazards,
		LeaveMark:       strings.TrimSpace(r.LeaveMark),
		Siren:           strings.TrimSpace(r.Siren),
		Species:         r.Species,
		ResidentShare:   0.15,
		TargetRate:      r.TargetRate,
		MaxFlowM3S:      pick("max_flow", r.MaxFlowM3S, r.MaxFlowCFS, coldseam.CubicMPerCFS),
		FloodStageM:     pick("flood_stage", r.FloodM, r.FloodFt, coldseam.MetrePerFoot),
		ActionStage:     pick("action_stage", r.ActionM, r.ActionFt, coldseam.MetrePerFoot),
	}
	out.Launch = coldseam.Launch{
		Text:    r.Launch,
		Access:  r.Access,
		Parking: r.Parking,
		Lat:     r.LaunchLat,
		Lon:     r.LaunchLon,
		DrownsM: pick("ramp_drowns", r.RampDrownsM, r.RampDrownsFt, coldseam.MetrePerFoot),
	}
	r.crafts(c, &out)

	if r.Resident != nil {
		out.ResidentShare = *r.Resident
	}
	if out.TargetRate == 0 {
		out.TargetRate = c.Odds.TargetRate
	}

	if km := pick("drive", r.DriveKM, r.DriveMiles, KMPerMile); km != nil {
		if !(*km >= 0 && *km < 5000) && err == nil {
			err = fmt.Errorf("drive of %.0f km; want the way there and back: %w", *km, coldseam.ErrInvalid)
		}
		out.DriveKM = *km
	}

	for _, u := range r.Upstream {
		out.UpstreamSites = append(out.UpstreamSites, coldseam.SiteID(u))
	}
	if _, e := time.LoadLocation(r.Zone); (e != nil || r.Zone == "") && err == nil {
		err = fmt.Errorf("zone is %q; want an IANA zone: %w", r.Zone, coldseam.ErrInvalid)
	}

	for _, s := range r.Spots {
		out.Spots = append(out.Spots, coldseam.Spot{
			ID:        s.ID,
			Name:      s.Name,
			Kind:      coldseam.SpotKind(s.Kind),
			Class:     s.Class,
			DepthRefM: pick(s.ID+" depth", s.DepthM, s.DepthFt, coldseam.MetrePerFoot),
			Sounded:   date(s.ID+" sounded", s.Sounded),
			StageRefM: pick(s.ID+" sounded_stage", s.StageM, s.StageFt, coldseam.MetrePerFoot),
			StageGain: s.StageGain,
			Bed:       s.Bed,
			D50M:      s.D50MM / 1000,
			Snags:     s.Snags,
			FloatMS:   pick(s.ID+" float", s.FloatMS, s.FloatFPS, coldseam.MetrePerFoot),
			FloatOn:   date(s.ID+" float_on", s.FloatOn),
			FloatFlow: pick(s.ID+" float_flow", s.FloatM3S, s.FloatCFS, coldseam.CubicMPerCFS),
			FloatN:    s.FloatN,
			FloatWind: s.FloatWind,
		})
	}

	for _, e := range r.Emergency {
		out.Emergency = append(out.Emergency, coldseam.EmergencyPoint(e))
	}
	for i, x := range r.Rules {
		rule := coldseam.Rule{
			Kind:      coldseam.RuleKind(x.Kind),
			Species:   x.Species,
			Allowed:   x.Allowed,
			Text:      x.Text,
			Link:      x.Link,
			CheckedOn: date(fmt.Sprintf("rule %d checked_on", i+1), x.CheckedOn),
			CheckedBy: x.CheckedBy,
		}
		for _, span := range x.Closed {
			dr, e := parseDayRange(span)
			if e != nil && err == nil {
				err = e
			}
			rule.Closed = append(rule.Closed, dr)
		}
		out.Rules = append(out.Rules, rule)
	}

	return out, err
}

// parseDayRange reads "03-01..04-30", both ends included.
func parseDayRange(s string) (coldseam.DayRange, error) {
	a, b, ok := strings.Cut(s, "..")
	from, e1 := time.Parse("01-02", strings.TrimSpace(a))
	to, e2 := time.Parse("01-02", strings.TrimSpace(b))
	if !ok || e1 != nil || e2 != nil {
		return coldseam.DayRange{}, fmt.Errorf("closed %q; want MM-DD..MM-DD: %w", s, coldseam.ErrInvalid)
	}
	return coldseam.DayRange{FromMonth: from.Month(), FromDay: from.Day(), ToMonth: to.Month(), ToDay: to.Day()}, nil
}

// Placed are the profiles with the zone and position of every site: bare dates
// are read in the site's zone, and a gridded service is asked for its place.
func (c Config) Placed() []ingest.Profile {
	sites := make([]coldseam.Site, len(c.Sites))
	for i, s := range c.Sites {
		sites[i] = s.Build()
	}
	out := make([]ingest.Profile, len(c.Profiles))
	for i, p := range c.Profiles {
		out[i] = p.WithSites(sites)
	}
	return out
}

// Reach is one reach of the file.
func (c Config) Reach(id coldseam.ReachID) (coldseam.Reach, error) {
	for _, r := range c.Reaches {
		if r.ID == string(id) {
			return r.Build(c)
		}
	}
	return coldseam.Reach{}, fmt.Errorf("reach %q: %w", id, coldseam.ErrNotFound)
}

// HasSite reports whether a station is one of the club's.
func (c Config) HasSite(id coldseam.SiteID) bool {
	return slices.ContainsFunc(c.Sites, func(s Site) bool { return s.ID == string(id) })
}

// BoatLimit is the limit that the file gives the reach itself, m3/s.
func (c Config) BoatLimit(r coldseam.Reach) float64 {
	for _, x := range c.Reaches {
		if own := x.MaxFlow(); x.ID == string(r.ID) && own != nil {
			return *own
		}
	}
	return *r.MaxFlowM3S
}
