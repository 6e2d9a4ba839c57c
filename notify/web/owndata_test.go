package web

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"
)

// A member's settings lead to all that is kept of him, and to the button that
// erases it.
func TestOwnDataIsHandedOutAndErased(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	page := get(h, paths()["prefs"]).Body.String()
	require.Contains(t, page, paths()["prefs"]+"/data.json")
	require.Contains(t, page, paths()["prefs"]+"/erase")

	w := get(h, paths()["prefs"]+"/data.json")
	require.Equal(t, http.StatusOK, w.Code)
	require.Equal(t, "application/json", w.Header().Get("Content-Type"))
	require.Equal(t, "no-store", w.Header().Get("Cache-Control"))
	require.Contains(t, w.Body.String(), m.subs[7].Email)

	require.Equal(t, http.StatusOK, get(h, paths()["prefs"]+"/erase").Code)
	require.Contains(t, m.subs, int64(7), "looking at the page erases nothing")
	require.Equal(t, http.StatusOK, post(h, paths()["prefs"]+"/erase", url.Values{}).Code)
	require.NotContains(t, m.subs, int64(7))
	require.Equal(t, http.StatusOK, post(h, paths()["prefs"]+"/erase", url.Values{}).Code, "again is no error")
	require.Equal(t, http.StatusNotFound, get(h, paths()["prefs"]+"/data.json").Code)
}

// The links of other pages open neither.
func TestOwnDataWantsTheSettingsLink(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	for _, page := range []string{"log", "unsubscribe"} {
		token := paths()[page][len("/"+page):]
		for _, what := range []string{"/data.json", "/erase"} {
			require.GreaterOrEqual(t, get(h, "/preferences"+token+what).Code, 400)
			require.GreaterOrEqual(t, post(h, "/preferences"+token+"/erase", url.Values{}).Code, 400)
		}
	}
	require.Contains(t, m.subs, int64(7))
}

// Who has left sees no settings to change, and still the way to his data.
func TestSettingsAfterLeaving(t *testing.T) {
	t.Parallel()
	m := newMemory()
	s := m.subs[7]
	s.State = "unsubscribed"
	m.subs[7] = s
	page := get(testHandler(t, m), paths()["prefs"]).Body.String()
	require.Contains(t, page, "You have left the list")
	require.NotContains(t, page, "<form")
	require.Contains(t, page, "Erase my data")
}
