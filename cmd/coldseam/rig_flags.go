package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/forecast/jig"
)

// rigPick takes the value of a flag or of its twin in other units; both or
// neither is an error, unless optional.
func rigPick(what string, a, b *float64, nameA, nameB string, factorA, factorB float64,
	optional bool) (float64, bool, error) {
	switch {
	case a != nil && b != nil:
		return 0, false, fmt.Errorf("both %s and %s are given; want one: %w", nameA, nameB, coldseam.ErrInvalid)
	case a != nil:
		return *a * factorA, true, nil
	case b != nil:
		return *b * factorB, true, nil
	case optional:
		return 0, false, nil
	}
	return 0, false, fmt.Errorf("no %s given; want %s or %s, or --site and --spot: %w", what, nameA, nameB,
		coldseam.ErrInvalid)
}

// rigRange refuses what is not a number or outside [lo, hi], in the words of the
// flag.
func rigRange(name string, v, lo, hi float64, unit string) error {
	if !(v >= lo && v <= hi) {
		return fmt.Errorf("%s is %.4g %s; want %.4g to %.4g: %w", name, v, unit, lo, hi, coldseam.ErrInvalid)
	}
	return nil
}

// column reads depth, current and temperature.
func (c *rigShowCmd) column() (st jig.Station, tempC float64, waterOK bool, err error) {
	var errs [3]error
	st.DepthM, _, errs[0] = rigPick("depth", c.DepthFt, c.DepthM, "--depth-ft", "--depth-m", coldseam.MetrePerFoot, 1,
		false)
	st.SurfaceMS, _, errs[1] = rigPick("surface current", c.SurfaceFPS, c.SurfaceMS, "--surface-fps", "--surface-ms",
		coldseam.MetrePerFoot, 1, false)
	t, waterOK, err := c.temp()
	errs[2] = err
	if err := errors.Join(errs[:]...); err != nil {
		return st, 0, false, err
	}
	if c.metric() {
		err = errors.Join(rigRange("depth", st.DepthM, .1, jig.MaxDepthM, "m"),
			rigRange("surface current", st.SurfaceMS, 0, 6, "m/s"))
	} else {
		err = errors.Join(rigRange("depth", coldseam.Feet(st.DepthM), .3, math.Floor(coldseam.Feet(jig.MaxDepthM)),
			"ft"),
			rigRange("surface current", coldseam.Feet(st.SurfaceMS), 0, 20, "ft/s"))
	}
	st.Water = jig.WaterAt(t)
	return st, t, waterOK, err
}

// temp is the water temperature in C, 3 C when none is given.
func (c *rigShowCmd) temp() (t float64, ok bool, err error) {
	switch {
	case c.WaterC != nil && c.WaterF != nil:
		return 0, false, fmt.Errorf("both --water-c and --water-f are given; want one: %w", coldseam.ErrInvalid)
	case c.WaterC != nil:
		return *c.WaterC, true, rigRange("water", *c.WaterC, 0, 40, "C")
	case c.WaterF != nil:
		return coldseam.C(*c.WaterF), true, rigRange("water", *c.WaterF, 32, 104, "F")
	}
	return 3, false, nil
}

func (c *rigShowCmd) metric() bool {
	return c.Units == "metric" || c.Units == "" && (c.DepthM != nil || c.SurfaceMS != nil)
}

// parseOz reads a size such as 1/4, 0.25 or 1.
func parseOz(name, s string) (float64, error) {
	num, den, frac := strings.Cut(strings.TrimSpace(s), "/")
	a, err := strconv.ParseFloat(num, 64)
	b := 1.0
	if err == nil && frac {
		b, err = strconv.ParseFloat(den, 64)
	}
	if v := a / b; err == nil && v > 0 && v <= 4 {
		return v, nil
	}
	return 0, fmt.Errorf("%s %q; want a size in oz such as 1/4, up to 4: %w", name, s, coldseam.ErrInvalid)
}

func (c *rigShowCmd) sizes() (box []float64, l jig.Limits, err error) {
	for _, s := range c.Box {
		v, e := parseOz("--box", s)
		err = errors.Join(err, e)
		box = append(box, v)
	}
	var e1, e2 error
	l.FloorOz, e1 = parseOz("--floor", c.Floor)
	l.MaxOz, e2 = parseOz("--max", c.Max)
	if err = errors.Join(err, e1, e2); err == nil && l.FloorOz > l.MaxOz {
		err = fmt.Errorf("--floor %s is above --max %s: %w", c.Floor, c.Max, coldseam.ErrInvalid)
	}
	return box, l, err
}
