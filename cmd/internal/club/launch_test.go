package club_test

import (
	"io"
	"mime"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/notify/web"
	"example.org/coldseam/store/storetest"
)

// What an admin sets of a launch and of the current's bearing, and where the weather
// feed has the wind from, reach the mail and the page: a drowned ramp as a caution of
// the mail, the way there on the page alone.
func TestLaunchAndWindFromConfigurationToMail(t *testing.T) {
	t.Parallel()
	const mark = `leave_mark = "water on the second step of Alder Landing"`
	text := strings.Replace(democlub.TOML, mark, mark+`
current_deg = 45
launch = "gravel ramp at Alder Landing"
launch_lat = 45.284
launch_lon = -92.671
access = "gate opens at 5"
parking = "field on the left, ten cars"
ramp_drowns_m = 0.6`, 1)
	require.NotEqual(t, democlub.TOML, text)
	w, err := clubtest.World()
	require.NoError(t, err)
	v := clubtest.NewIn(t, storetest.URL(t), nil, democlub.Start, w, text)
	v.History(t)
	_, err = v.DB.Pool().Exec(t.Context(), `UPDATE coldseam.forecast SET members = NULL,
		value = array_fill(4.5::float8, ARRAY[cardinality(value)]) WHERE param = 'wind'`)
	require.NoError(t, err) // the morning is calm: a light air has no direction
	v.Join(t, "one@home.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}, SendAt: "04:45"})
	_, err = v.Morning.MakeAll(t.Context(), clubtest.Saturday)
	require.NoError(t, err)

	b, err := v.DB.Brief(t.Context(), "tamsen-bend", clubtest.Saturday)
	require.NoError(t, err)
	win, ok := b.Best()
	require.True(t, ok)
	require.InDelta(t, 225, *win.Sky.WindFromDeg, 60, "as the feed has it")

	v.Send(t, "04:46")
	ms := v.Messages(t)["one@home.example"]
	require.NotEmpty(t, ms)
	m := ms[len(ms)-1]
	plain := func(s string) string { return strings.Join(strings.Fields(strings.ReplaceAll(s, "\u00a0", " ")), " ") }
	mail := plain(clubtest.HTMLPart(t, m.Header.Get, m.Body))
	require.Contains(t, mail, "ramp under water")
	require.Regexp(t, `wind (\d+ mph )?from (S|SW|W|NW), (against|across) the current`, mail)
	require.NotContains(t, mail, "ten cars", "the page has room for it")
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	require.NoError(t, err)
	require.NotContains(t, subject, "ramp", "a caution is no stop")

	h, err := web.New(web.Config{Store: v.App.Pages(), Links: v.Mail.Links, Club: v.Config.Club.Name, Now: v.Now, Log: v.Log})
	require.NoError(t, err)
	rec := httptest.NewRecorder()
	h.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/river/tamsen-bend", nil))
	body, err := io.ReadAll(rec.Body)
	require.NoError(t, err)
	page := plain(string(body))
	for _, want := range []string{"gravel ramp at Alder Landing", "gate opens at 5", "field on the left, ten cars",
		"launch at 45.28400, -92.67100", "the ramp is under water from stage 2 ft; it reads", "ramp under water: stage",
		"the current"} {
		require.Contains(t, page, want)
	}
}
