// Package covjson reads CoverageJSON time series, as OGC API - EDR position
// queries answer them, and GeoJSON gridpoint forecasts. What it reads is a
// forecast unless the profile says kind = "observation".
package covjson

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"sort"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// Limits: a gridpoint layer holds 8 days of hours; a point series stays well
// below.
const (
	maxSteps   = 20000
	maxValues  = 1_000_000 // of a document: each costs some 50 bytes
	maxPlaceKM = 10        // a grid cell is a few km wide
)

type document struct {
	Type        string               `json:"type"`
	Coverages   []coverage           `json:"coverages"`
	Parameters  map[string]parameter `json:"parameters"`
	Properties  map[string]json.RawMessage
	Referencing []reference     `json:"referencing"`
	Geometry    json.RawMessage `json:"geometry"`
	coverage
}

type coverage struct {
	Domain     domain                     `json:"domain"`
	Ranges     map[string]json.RawMessage `json:"ranges"`
	Parameters map[string]parameter       `json:"parameters"`
}

type domain struct {
	Axes        map[string]axis `json:"axes"`
	Referencing []reference     `json:"referencing"`
}

type reference struct {
	Coordinates []string        `json:"coordinates"`
	System      json.RawMessage `json:"system"`
}

type axis struct {
	Values    []any        `json:"values"`
	Bounds    []any        `json:"bounds"`
	Composite any          `json:"composite"`
	Start     *json.Number `json:"start"`
	Stop      *json.Number `json:"stop"`
	Num       *json.Number `json:"num"`
}

type parameter struct {
	ID       string `json:"id"`
	Observed struct {
		ID    string `json:"id"`
		Label any    `json:"label"`
	} `json:"observedProperty"`
	Unit struct {
		Label  any `json:"label"`
		Symbol any `json:"symbol"`
	} `json:"unit"`
}

type ndArray struct {
	Type     string   `json:"type"`
	DataType string   `json:"dataType"`
	Axes     []string `json:"axisNames"`
	Shape    []int    `json:"shape"`
	Values   []any    `json:"values"`
}

// Parse reads one document: Coverage, CoverageCollection, a gridpoint Feature,
// or the point record that leads to one. Anything else is ErrInvalid.
func Parse(r io.Reader, p ingest.Profile) (ingest.Batch, error) {
	body, err := ingest.ReadBody(r, p)
	if err != nil {
		return ingest.Batch{}, err
	}

	if n := bytes.Count(body, []byte{','}); n > maxValues {
		return ingest.Batch{}, fmt.Errorf("coveragejson: more than %d values: %w", maxValues, coldseam.ErrInvalid)
	}
	var d document
	if err := ingest.DecodeJSON(body, &d); err != nil {
		return ingest.Batch{}, fmt.Errorf("coveragejson: %w", err)
	}
	p = p.WithDefaults()

	switch d.Type {
	case "Coverage":
		if d.Domain.Axes == nil || d.Ranges == nil {
			return ingest.Batch{}, fmt.Errorf("coveragejson: a Coverage without domain axes or ranges: %w",
				coldseam.ErrInvalid)
		}
		d.coverage.Parameters = d.Parameters
		return coverages(p, []coverage{d.coverage}, d)
	case "CoverageCollection":
		if d.Coverages == nil {
			return ingest.Batch{}, fmt.Errorf("coveragejson: a CoverageCollection without coverages: %w",
				coldseam.ErrInvalid)
		}
		return coverages(p, d.Coverages, d)
	case "Feature":
		return gridpoint(p, d)
	}

	return ingest.Batch{}, fmt.Errorf("coveragejson: type %q, want Coverage, CoverageCollection or Feature: %w",
		clip(d.Type), coldseam.ErrInvalid)
}

// standardNames are CF names; a service's own words need the profile's
// parameters [source: CF standard name table, from memory].
var standardNames = map[string]coldseam.Parameter{
	"air_temperature":                       coldseam.AirTemp,
	"visibility_in_air":                     coldseam.Visibility,
	"wind_speed":                            coldseam.Wind,
	"wind_speed_of_gust":                    coldseam.Gust,
	"wind_from_direction":                   coldseam.WindFrom,
	"lwe_thickness_of_precipitation_amount": coldseam.Precip,
	"precipitation_amount":                  coldseam.Precip,
	"probability_of_thunder":                coldseam.ThunderProb,
}

// param finds our parameter by range key, id, observed property or the last
// piece of its address. The range key may differ in case from what was asked.
func (m parameter) param(p ingest.Profile, key string) (coldseam.Parameter, bool) {
	tail := func(s string) string {
		s = strings.Trim(s, "/")
		return s[strings.LastIndexAny(s, "/#")+1:]
	}
	for _, code := range []string{key, m.ID, m.Observed.ID, tail(m.Observed.ID)} {
		if code == "" {
			continue
		}
		if q, ok := p.Parameter(code, standardNames); ok {
			return q, true
		}
	}
	return "", false
}

// units lists the spellings of the unit, the symbol first, then the labels
// with English first.
func (m parameter) units() []string {
	var out []string
	switch s := m.Unit.Symbol.(type) {
	case string:
		out = append(out, s)
	case map[string]any:
		if v, ok := s["value"].(string); ok {
			out = append(out, v)
		}
	}
	return append(out, labels(m.Unit.Label)...)
}

// labels are the texts of a label keyed by language; there may be no "en".
func labels(v any) []string {
	switch l := v.(type) {
	case string:
		return []string{l}
	case map[string]any:
		var langs, out []string
		for k := range l {
			langs = append(langs, k)
		}
		sort.Slice(langs, func(i, j int) bool {
			if (langs[i] == "en") != (langs[j] == "en") {
				return langs[i] == "en"
			}
			return langs[i] < langs[j]
		})

		for _, k := range langs {
			if s, ok := l[k].(string); ok {
				out = append(out, s)
			}
		}

		return out
	}

	return nil
}

// conversion takes the first spelling that fits the parameter; without any the
// profile's unit counts. The error names the first spelling.
func (m parameter) conversion(p ingest.Profile, q coldseam.Parameter) (ingest.Conversion, string, string, error) {
	units := m.units()
	if len(units) == 0 {
		units = []string{""}
	}
	var first error
	for _, u := range units {
		c, from, err := p.Unit(q, u)
		if err == nil {
			return c, u, from, nil
		}
		if first == nil {
			first = err
		}
	}
	return ingest.Conversion{}, units[0], "", first
}

func clip(s string) string {
	if len(s) > 60 {
		return strings.ToValidUTF8(s[:60], "")
	}
	return s
}
