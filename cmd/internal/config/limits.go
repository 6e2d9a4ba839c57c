package config

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
)

// Limit is one line of [thresholds]: a number alone where it is the
// stricter one, a number with a reason where it is looser:
//
//	wind_mph = 20
//	gust_mph = { value = 40, why = "the big boats only, May 2026 meeting", who = "season keeper" }
type Limit struct {
	Value float64
	Why   string
	Who   string // a role, never an address
}

// UnmarshalTOML reads both forms.
func (l *Limit) UnmarshalTOML(v any) error {
	number := func(v any) (float64, error) {
		switch x := v.(type) {
		case float64:
			return x, nil
		case int64:
			return float64(x), nil
		}
		return 0, fmt.Errorf("%v is no number: %w", v, coldseam.ErrInvalid)
	}

	t, ok := v.(map[string]any)
	if !ok {
		var err error
		l.Value, err = number(v)
		return err
	}
	seen := false

	for k, x := range t {
		s, isText := x.(string)
		switch {
		case k == "value":
			n, err := number(x)
			if err != nil {
				return err
			}
			l.Value, seen = n, true
		case k == "why" && isText:
			l.Why = s
		case k == "who" && isText:
			l.Who = s
		default:
			return fmt.Errorf("%s = %v; want value, why, who: %w", k, x, coldseam.ErrInvalid)
		}
	}

	if !seen {
		return fmt.Errorf("no value; want { value = 40, why = \"...\" }: %w", coldseam.ErrInvalid)
	}
	return nil
}

// Effects is the club's table of what moves the odds, or the shipped one. A fault
// is named with its file and line.
func (c Config) Effects() (verdict.Effects, error) {
	if c.Odds.Effects == "" {
		return verdict.DefaultEffects(), nil
	}
	path := c.Odds.Effects
	if !filepath.IsAbs(path) {
		path = filepath.Join(filepath.Dir(c.Path), path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("odds.effects %q: %w; want a file beside the configuration: %w", c.Odds.Effects,
			errors.Unwrap(err), coldseam.ErrInvalid)
	}
	defer f.Close()
	return verdict.ParseEffects(f, filepath.Base(path))
}

// Table is the decision's table with the club's limits; it refuses a looser
// one without a reason.
func (c Config) Table() (verdict.Table, error) {
	t := verdict.DefaultTable()
	t.Cost = c.Odds.Cost
	var errs []error
	for _, k := range slices.Sorted(maps.Keys(c.Thresholds)) {
		l := c.Thresholds[k]
		if k == "cost" {
			errs = append(errs, fmt.Errorf("threshold cost: set odds.cost instead: %w", coldseam.ErrInvalid))
			continue
		}
		if do, ok := gone[k]; ok {
			errs = append(errs, fmt.Errorf("threshold %s is none any more: %s: %w", k, do, coldseam.ErrInvalid))
			continue
		}
		errs = append(errs, t.Set(k, l.Value, l.Why))
	}
	return t, errors.Join(errs...)
}
