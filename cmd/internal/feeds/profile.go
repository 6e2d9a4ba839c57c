package feeds

import (
	"fmt"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest"
)

// ProfileFor is the profile by which a file is read: one of the configuration by
// its name, or name/endpoint, with a unit and a zone for what the document does not say.
func ProfileFor(g *env.Globals, name, unit, zone string) (ingest.Profile, error) {
	p := ingest.Profile{Name: "file"}
	if name != "" {
		cfg, err := config.Load(g.Config)
		if err != nil {
			return p, err
		}
		service, endpoint, _ := strings.Cut(name, "/")
		found := false
		for _, x := range cfg.Placed() { // with the zones of its sites
			if x.Name == service {
				p, found = x, true
			}
		}

		if !found {
			return p, fmt.Errorf("no [[profile]] named %q in %s", service, g.Config)
		}
		if p, err = p.At(endpoint); err != nil {
			return p, err
		}
	}

	if unit != "" {
		p.Units = map[string]string{}
		for _, q := range []coldseam.Parameter{coldseam.Discharge, coldseam.Stage, coldseam.WaterTemp,
			coldseam.Turbidity, coldseam.Velocity,
			coldseam.AirTemp, coldseam.Precip, coldseam.Wind, coldseam.Gust, coldseam.WindFrom,
			coldseam.ThunderProb, coldseam.Visibility, coldseam.FishCount} {
			if _, err := ingest.UnitFor(q, unit); err == nil {
				p.Units[string(q)] = unit
			}
		}
		if len(p.Units) == 0 {
			return p, fmt.Errorf("unit %q fits no parameter coldseam knows", unit)
		}
	}

	if zone != "" {
		if _, err := time.LoadLocation(zone); err != nil {
			return p, fmt.Errorf("zone %q: want an IANA zone such as America/Chicago", zone)
		}
		p.Zone = zone
	}

	return p.WithDefaults(), nil
}
