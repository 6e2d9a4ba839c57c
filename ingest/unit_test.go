package ingest

import (
	"testing"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
)

func TestUnitFor(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name  string
		param coldseam.Parameter
		unit  string
		x     float64
		want  float64
	}{
		// 1 ft3 = 0.3048^3 m3 by definition of the international foot.
		{"cubic feet", coldseam.Discharge, "ft^3/s", 1, 0.3048 * 0.3048 * 0.3048},
		{"cumecs", coldseam.Discharge, "cumecs", 266, 266},
		{"litres", coldseam.Discharge, "l/s", 2500, 2.5},
		{"feet", coldseam.Stage, "ft", 10, 3.048},
		{"inches of stage", coldseam.Stage, "in", 12, 0.3048},
		{"inches of rain", coldseam.Precip, "in", 1, 25.4},
		{"ring above", coldseam.WaterTemp, "\u02daC", 4, 4},
		{"fahrenheit freezing", coldseam.WaterTemp, "degF", 32, 0},
		{"fahrenheit boiling", coldseam.WaterTemp, "F", 212, 100},
		{"kelvin", coldseam.AirTemp, "K", 273.15, 0},
		{"urn", coldseam.WaterTemp, "urn:ogc:def:uom:udunits:2:Cel", 5, 5},
		{"ucum", coldseam.WaterTemp, "ucum:Cel", 5, 5},
		{"gridpoint wind", coldseam.Wind, "wmoUnit:km_h-1", 36, 10},
		{"knots", coldseam.Gust, "kn", 3600, 1852},
		{"percent of thunder", coldseam.ThunderProb, "%", 25, 0.25},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			conv, err := UnitFor(c.param, c.unit)
			require.NoError(t, err)
			require.InDelta(t, c.want, conv.Apply(c.x), 1e-12)
		})
	}

	for _, c := range []struct {
		name  string
		param coldseam.Parameter
		unit  string
	}{
		{"milliseconds for metres", coldseam.Stage, "ms"},
		{"megalitres", coldseam.Discharge, "ML"},
		{"percent of stage", coldseam.Stage, "%"},
		{"elevation", coldseam.Stage, "mNN"},
		{"none", coldseam.Stage, " "},
		{"feet for discharge", coldseam.Discharge, "ft"},
		{"case", coldseam.AirTemp, "k"},
		{"metres of fish", coldseam.FishCount, "m"},
		{"fish for discharge", coldseam.Discharge, "fish"},
		{"NTU without the profile's word", coldseam.Turbidity, "NTU"},
	} {
		t.Run("refuse "+c.name, func(t *testing.T) {
			t.Parallel()
			_, err := UnitFor(c.param, c.unit)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
		})
	}
}

func TestProfileUnit(t *testing.T) {
	t.Parallel()
	p := Profile{Units: map[string]string{"stage": "ft"}, UnitAliases: map[string]string{"NTU": "FNU"}}
	c, from, err := p.Unit(coldseam.Stage, "")
	require.NoError(t, err)
	require.Equal(t, "profile", from)
	require.Equal(t, 0.3048, c.Apply(1))
	c, from, err = p.Unit(coldseam.Stage, "m")
	require.NoError(t, err)
	require.Equal(t, "document", from, "the document's own unit wins")
	require.Equal(t, 1.0, c.Apply(1))
	_, _, err = p.Unit(coldseam.Turbidity, "NTU")
	require.NoError(t, err)
}
