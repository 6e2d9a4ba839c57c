package config

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

const clubTOML = `
[club]
name = "Our Club"
`

func TestLimits(t *testing.T) {
	t.Parallel()
	c, err := Parse("c.toml", clubTOML+`
[thresholds]
wind_mph = 20
rise_ft = 0.8
gust_mph = { value = 40, why = "the big boats only", who = "season keeper" }
`)
	require.NoError(t, err)
	table, err := c.Table()
	require.NoError(t, err)
	require.Equal(t, 20.0, table.WindMPH)
	require.Equal(t, 0.8, table.RiseFt)
	require.Equal(t, 40.0, table.GustMPH)
	require.Equal(t, "the big boats only", table.Reasons["gust_mph"])
	require.Equal(t, 0.4, table.Cost)
}

func TestLimitsAreRefused(t *testing.T) {
	t.Parallel()

	for _, c := range []struct{ name, line, want string }{
		{"looser without a reason", `wind_mph = 30`, "threshold wind_mph: 30 is looser than 25: give a written reason"},
		{"looser with a blank reason", `wind_mph = { value = 30, why = " " }`, "give a written reason"},
		{"unknown", `wind = 20`, `threshold "wind": want one of flood_share`},
		{"beyond the bounds", `thunder = { value = 0.95, why = "we like it" }`, "want 0.02 to 0.9"},
		{"text", `wind_mph = "20"`, "no number"},
		{"unknown key inside", `wind_mph = { value = 20, reason = "x" }`, "want value, why, who"},
		{"no value", `wind_mph = { why = "x" }`, "no value"},
		{"cost stands elsewhere", `cost = 0.5`, "set odds.cost instead"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := Parse("c.toml", clubTOML+"[thresholds]\n"+c.line+"\n")
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, c.want)
		})
	}
}
