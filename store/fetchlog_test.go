package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store/storetest"
)

func TestFetchLog(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	db := storetest.New(t)
	at := time.Date(2026, time.April, 1, 6, 0, 0, 0, time.UTC)
	save := func(url, shape, body string, status int, after time.Duration) {
		t.Helper()
		_, err := db.SaveRaw(ctx, coldseam.RawFetch{
			Profile:    "gauge",
			URL:        url,
			At:         at.Add(after),
			Status:     status,
			Bytes:      int64(len(body)),
			SHA256:     body,
			Attributes: shape,
			Payload:    []byte(body),
		})
		require.NoError(t, err)
	}
	save("https://g.example/a", "schema=aaa:1", "one", 200, 0)
	save("https://g.example/a", "schema=aaa:1", "two", 200, time.Hour)
	save("https://g.example/a", "schema=bbb:1", "three", 200, 2*time.Hour)
	save("https://g.example/a", "", "busy", 503, 3*time.Hour)
	save("https://g.example/b", "schema=ccc:1", "four", 200, 0)

	kept, err := db.KeptFetches(ctx, "gauge")
	require.NoError(t, err)
	require.Len(t, kept, 4, "an error page is not replayed")
	require.True(t, kept[0].At.Equal(at))
	b, err := db.Payload(ctx, kept[len(kept)-1].ID)
	require.NoError(t, err)
	require.Equal(t, "three", string(b))

	pairs, err := db.LastShapes(ctx, at.Add(-time.Hour))
	require.NoError(t, err)
	require.Len(t, pairs, 1, "the other address kept its shape")
	require.Equal(t, "schema=bbb:1", pairs[0][0].Attributes)
	require.Equal(t, "schema=aaa:1", pairs[0][1].Attributes)
	require.True(t, pairs[0][1].At.Equal(at.Add(time.Hour)))

	newest, err := db.NewestKept(ctx)
	require.NoError(t, err)
	require.Len(t, newest, 2)
}
