package ingest

import (
	"fmt"
	"strings"

	"example.org/coldseam"
)

// Conversion turns a value of a source unit into SI: (x - Sub) * Mul / Div.
// Kept in this form so that exact factors stay exact.
type Conversion struct {
	SI            string
	Sub, Mul, Div float64
}

// Apply converts one value.
func (c Conversion) Apply(x float64) float64 { return (x - c.Sub) * c.Mul / c.Div }

func times(si string, f float64) Conversion { return Conversion{si, 0, f, 1} }

// unitTable holds every spelling that was seen in a document or is [from
// memory]. Case matters: K is kelvin, m is metre, M is nothing. Factors are
// exact by definition (international foot 0.3048 m, statute mile 1609.344 m,
// nautical mile 1852 m).
var unitTable = map[string]Conversion{
	"m3_s": times("m3_s", 1), "m3/s": times("m3_s", 1), "m^3/s": times("m3_s", 1), "m³/s": times("m3_s", 1),
	"m3.s-1": times("m3_s", 1), "m3 s-1": times("m3_s", 1), "cumec": times("m3_s", 1), "cumecs": times("m3_s", 1),
	"m**3/s": times("m3_s", 1),
	"ft3/s":  times("m3_s", coldseam.CubicMPerCFS), "ft^3/s": times("m3_s", coldseam.CubicMPerCFS),
	"ft³/s": times("m3_s", coldseam.CubicMPerCFS),
	"cfs":   times("m3_s", coldseam.CubicMPerCFS), "Cubic Feet per Second": times("m3_s", coldseam.CubicMPerCFS),
	"[cft_i]/s": times("m3_s", coldseam.CubicMPerCFS),
	"kcfs":      times("m3_s", 1000*coldseam.CubicMPerCFS),
	"l/s":       {"m3_s", 0, 1, 1000}, "L/s": {"m3_s", 0, 1, 1000}, "cms": times("m3_s", 1),

	"m": times("m", 1), "metre": times("m", 1), "meter": times("m", 1), "metres": times("m", 1),
	"ft": times("m", coldseam.MetrePerFoot), "Feet": times("m", coldseam.MetrePerFoot),
	"feet":               times("m", coldseam.MetrePerFoot),
	"international foot": times("m", coldseam.MetrePerFoot), "[ft_i]": times("m", coldseam.MetrePerFoot),
	"cm": {"m", 0, 1, 100},

	"degC": times("degC", 1), "deg C": times("degC", 1), "Cel": times("degC", 1), "C": times("degC", 1),
	"°C":             times("degC", 1),
	"\u02daC":        times("degC", 1), // U+02DA ring above, sent where the degree sign is meant
	"ºC":             times("degC", 1), // U+00BA ordinal sign, the same slip
	"DEGREE_CELSIUS": times("degC", 1), "Celsius": times("degC", 1), "Degrees Centigrade": times("degC", 1),
	"degree celsius":  times("degC", 1),
	"degrees Celsius": times("degC", 1), "celsius": times("degC", 1),
	"degF": {"degC", 32, 1, 1.8}, "F": {"degC", 32, 1, 1.8}, "°F": {"degC", 32, 1, 1.8}, "deg F": {"degC", 32, 1, 1.8},
	"[degF]": {"degC", 32, 1, 1.8},
	"K":      {"degC", 273.15, 1, 1}, "Kelvin": {"degC", 273.15, 1, 1}, "kelvin": {"degC", 273.15, 1, 1},

	"mm": times("mm", 1), "kg/m2": times("mm", 1), "kg m-2": times("mm", 1), // 1 kg of water on a square metre is 1 mm

	"m_s": times("m_s", 1), "m/s": times("m_s", 1), "m s-1": times("m_s", 1), "m s**-1": times("m_s", 1),
	"m.s-1": times("m_s", 1), "m_s-1": times("m_s", 1),
	"ft/s": times("m_s", coldseam.MetrePerFoot), "mph": times("m_s", coldseam.MPSPerMPH),
	"km/h": {"m_s", 0, 1, 3.6}, "km_h-1": {"m_s", 0, 1, 3.6}, "km h-1": {"m_s", 0, 1, 3.6},
	"kn": {"m_s", 0, 1852, 3600}, "kt": {"m_s", 0, 1852, 3600}, "knot": {"m_s", 0, 1852, 3600},

	"deg": times("deg", 1), "degree": times("deg", 1), "degrees": times("deg", 1), "degree_(angle)": times("deg", 1),
	"°": times("deg", 1),

	"FNU": times("FNU", 1), "_FNU": times("FNU", 1),
	"fish": times("fish", 1),
	"1":    times("1", 1), "%": {"1", 0, 1, 100}, "percent": {"1", 0, 1, 100},
}

// inches and millimetres mean rain for precipitation and length for stage.
var byParameter = map[coldseam.Parameter]map[string]Conversion{
	coldseam.FishCount: {"1": times("fish", 1), "count": times("fish", 1), "ea": times("fish", 1),
		"each": times("fish", 1)},
	coldseam.Stage:      {"mm": {"m", 0, 1, 1000}, "in": times("m", 0.0254)},
	coldseam.Precip:     {"in": times("mm", 25.4), "m": times("mm", 1000), "cm": times("mm", 10)},
	coldseam.Visibility: {"km": times("m", 1000), "mi": times("m", 1609.344), "[mi_i]": times("m", 1609.344)},
}

// unitPrefixes stand before a spelling of the table in URNs and codes.
var unitPrefixes = []string{"wmoUnit:", "unit:", "ucum:", "urn:ogc:def:uom:udunits:2:", "urn:ogc:def:uom:UCUM::",
	"urn:ogc:def:uom:UCUM:", "urn:ogc:def:uom:OGC::", "urn:ogc:def:uom:OGC:", "uc:"}

// UnitFor finds the conversion of a source unit to the SI unit of a parameter.
// An unknown spelling, an empty one and a unit of another dimension are
// ErrInvalid: ms (milliseconds) is no metre, % is a probability only.
func UnitFor(p coldseam.Parameter, unit string) (Conversion, error) {
	si := p.Unit()
	u := strings.TrimSpace(unit)
	for _, pre := range unitPrefixes {
		if t, ok := strings.CutPrefix(u, pre); ok && t != "" {
			u = t
			break
		}
	}

	if c, ok := byParameter[p][u]; ok {
		return c, nil
	}
	c, ok := unitTable[u]
	var err error
	switch {
	case u == "":
		err = fmt.Errorf("%s: no unit in the document and none configured: %w", p, coldseam.ErrInvalid)
	case !ok:
		err = fmt.Errorf("%s: unit %q is unknown, want one for %s: %w", p, clip(unit), si, coldseam.ErrInvalid)
	case c.SI != si:
		err = fmt.Errorf("%s: unit %q is %s, want one for %s: %w", p, clip(unit), c.SI, si, coldseam.ErrInvalid)
	default:
		return c, nil
	}
	return Conversion{}, Because(CodeUnit, err)
}

// Unit finds the conversion for a parameter: the document's unit through the
// profile's aliases, or, when the document carries none, the profile's unit.
// from says which of the two it was.
func (p Profile) Unit(param coldseam.Parameter, found string) (c Conversion, from string, err error) {
	u, from := strings.TrimSpace(found), "document"
	if u == "" {
		u, from = p.Units[string(param)], "profile"
	}
	if a, ok := p.UnitAliases[u]; ok {
		u = a
	}
	c, err = UnitFor(param, u)
	return c, from, err
}
