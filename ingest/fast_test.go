package ingest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// FastDecimal and FastTime agree with the general readers wherever they read.
func TestFastFieldsAgree(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.StringMatching(`[+-]?[0-9]{0,16}\.?[0-9]{0,9}`),
			rapid.StringMatching(`[0-9.+-]{1,8}`)).Draw(t, "number")
		if v, n := FastDecimal([]byte(text + rapid.SampledFrom([]string{"", "<", "\""}).Draw(t, "end"))); n > 0 {
			want, err := ParseDecimal(text[:n])
			require.NoError(t, err)
			require.Equal(t, want, v, text)
		}

		stamp := rapid.OneOf(
			rapid.StringMatching(
				`(19|20)[0-9]{2}-[01][0-9]-[0-3][0-9]T[0-2][0-9]:[0-6][0-9]:[0-6][0-9](\.[0-9]{0,10})?(Z|[+-][01][0-9]:[0-6][0-9])`),
			rapid.StringMatching(`[0-9]{4}-02-29T00:00:00Z`)).Draw(t, "time")
		if sec, nsec, n := FastTime([]byte(stamp)); n == len(stamp) {
			want, err := ParseTime(stamp, nil)
			require.NoError(t, err, stamp)
			require.Equal(t, want.At, time.Unix(sec, int64(nsec)).UTC(), stamp)
		}
	})
	require.Equal(t, int64(0), daysFromCivil(1970, 1, 1))

	for y := 1000; y < 3000; y += 7 {
		for m := 1; m <= 12; m++ {
			require.Equal(t, time.Date(y, time.Month(m), 28, 0, 0, 0, 0, time.UTC).Unix()/86400,
				daysFromCivil(y, m, 28))
			require.Equal(t, time.Date(y, time.Month(m)+1, 0, 0, 0, 0, 0, time.UTC).Day(), daysIn(y, m))
		}
	}
}
