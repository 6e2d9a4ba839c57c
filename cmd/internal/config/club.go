package config

import (
	"fmt"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/forecast/verdict"
)

// KMPerMile is exact [source: international mile, 1959].
const KMPerMile = 1.609344

// DriveCost is the club's cost of driving; 0 = none on file.
func (c Club) DriveCost() (float64, error) {
	switch {
	case c.CostPerMile != nil && c.CostPerKM != nil:
		return 0, fmt.Errorf("club.cost_per_mile and cost_per_km are both given: %w", coldseam.ErrInvalid)
	case c.CostPerMile != nil:
		return costInRange(*c.CostPerMile)
	case c.CostPerKM != nil:
		return costInRange(*c.CostPerKM * KMPerMile)
	}
	return 0, nil
}

func costInRange(v float64) (float64, error) {
	if !(v >= 0 && v < 1e6) {
		return 0, fmt.Errorf("club cost of driving %g; want a sum of money: %w", v, coldseam.ErrInvalid)
	}
	return v, nil
}

// Weight is [weight]: the club's own limits of the weight advice. A value
// that is not given is the program's.
type Weight struct {
	TieNew  float64 `toml:"tie_new"`  // P(holds) to tie on until a spot is calibrated
	TieDone float64 `toml:"tie_done"` // afterwards
	Pack    float64 `toml:"pack"`
	FloorOz float64 `toml:"floor_oz"` // smallest size to advise
	MaxOz   float64 `toml:"max_oz"`
}

// Limits are the club's limits of the advised weights.
func (w Weight) Limits() jig.Limits {
	return jig.Limits{TieNew: w.TieNew, TieDone: w.TieDone, Pack: w.Pack, FloorOz: w.FloorOz, MaxOz: w.MaxOz}
}

// AlertRule is one [[alert_rule]]: what the warnings of a provider mean,
// in its own codes or words. Such a rule stands before the program's own for
// that provider.
type AlertRule struct {
	Provider string   `toml:"provider"` // profile of the warnings; "" = all
	Class    string   `toml:"class"`    // flood, storm, ice, dam_release, watch, minor, none
	Codes    []string `toml:"codes"`
	Words    []string `toml:"words"`   // all must stand in event or headline
	Without  []string `toml:"without"` // none of these may
	Why      string   `toml:"why"`     // wanted where the class makes a warning weigh less
}

// Alerts turns the list into rules; one that says nothing, or that lets a
// warning pass without a reason, is refused.
func (c Config) Alerts() ([]verdict.AlertRule, error) {
	var out []verdict.AlertRule
	for _, r := range c.AlertRules {
		class, err := verdict.ParseAlertClass(r.Class)
		if err != nil {
			return nil, fmt.Errorf("alert_rule: %w", err)
		}

		if len(r.Codes) == 0 && len(r.Words) == 0 {
			return nil, fmt.Errorf("alert_rule: neither codes nor words: %w", coldseam.ErrInvalid)
		}
		for _, w := range append(append([]string(nil), r.Codes...), r.Words...) {
			if strings.TrimSpace(w) == "" {
				return nil, fmt.Errorf("alert_rule: an empty code or word fits every warning: %w", coldseam.ErrInvalid)
			}
		}

		if (class == verdict.AlertNone || class == verdict.AlertMinor) && r.Why == "" {
			return nil, fmt.Errorf("alert_rule: class %s makes warnings weigh less; want why: %w", r.Class,
				coldseam.ErrInvalid)
		}
		out = append(out, verdict.AlertRule{
			Provider: r.Provider,
			Class:    class,
			Codes:    r.Codes,
			Words:    r.Words,
			Without:  r.Without,
		})
	}

	return out, nil
}
