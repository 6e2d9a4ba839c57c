package ensemble

import (
	"encoding/json"
	"testing"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestPackedNumbersComeBackToTheBit(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		p := Packed(rapid.SliceOf(rapid.Float32()).Draw(t, "p"))
		c := Centi(rapid.SliceOf(rapid.Int16()).Draw(t, "c"))
		var p2 Packed
		var c2 Centi
		raw, err := json.Marshal(p)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(raw, &p2))

		raw, err = json.Marshal(c)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(raw, &c2))
		require.Equal(t, len(p), len(p2))
		for i := range p {
			require.Equal(t, p[i], p2[i])
		}
		require.Equal(t, len(c), len(c2))
		for i := range c {
			require.Equal(t, c[i], c2[i])
		}
	})
}

func TestPackedNumbersRefuseRubbish(t *testing.T) {
	t.Parallel()
	for _, raw := range []string{`3`, `"AAA"`, `"!!"`} {
		var p Packed
		require.ErrorIs(t, json.Unmarshal([]byte(raw), &p), coldseam.ErrInvalid, raw)
		var c Centi
		require.ErrorIs(t, json.Unmarshal([]byte(raw), &c), coldseam.ErrInvalid, raw)
	}
}

func TestToCentiStaysInRange(t *testing.T) {
	t.Parallel()
	require.Equal(t, int16(-123), ToCenti(-1.2345))
	require.Equal(t, int16(32000), ToCenti(1e9))
}
