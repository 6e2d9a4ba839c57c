//go:build !race

package gauntlet

import (
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/notify"
)

// A fault of any kind in one value of one river's brief changes no word about
// another river, and no mail is lost to it.
func TestOneRiversFaultStaysItsOwn(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	v.Clock.Forward(clubtest.MorningAt(4, 46))
	letter := func(t *testing.T, briefs []coldseam.Brief) []byte {
		t.Helper()
		var mine []coldseam.Brief
		for _, b := range briefs {
			mine = append(mine, v.Mail.Personal(b, coldseam.Preferences{}))
		}
		payload, err := v.Mail.Payload(t.Context(), notify.Content{Club: "Club", Briefs: mine}, clubtest.Saturday)
		require.NoError(t, err)
		_, err = notify.ParseContent(payload)
		require.NoError(t, err)
		m, err := v.Mail.ComposeMessage(t.Context(), coldseam.OutboxMessage{
			Kind:       coldseam.MailMorning,
			LocalDate:  clubtest.Saturday,
			CreatedAt:  clubtest.MorningAt(4, 46),
			Payload:    payload,
			Subscriber: coldseam.Subscriber{ID: 1, Email: "one@h.example"},
		})
		require.NoError(t, err)
		return m.Bytes
	}
	want := clubtest.RiverBlocks(t, letter(t, clubtest.Three()))
	require.Contains(t, want["Brandt"], "weight by spot")

	n, third := 0, 0
	shape := clubtest.Three()[2]

	leaves(reflect.ValueOf(&shape).Elem(), "", func(path string, leaf reflect.Value) {
		if path == ".Reach" || strings.HasPrefix(path, ".Chart") {
			return
		}
		was := reflect.New(leaf.Type()).Elem()
		was.Set(leaf)

		for _, x := range hostile(leaf) {
			if third++; third%3 != 0 && os.Getenv("COLDSEAM_SOAK") == "" {
				continue // in turn; the long runs take all
			}
			briefs := clubtest.Three()
			leaf.Set(x)
			briefs[2] = shape

			got := clubtest.RiverBlocks(t, letter(t, briefs))
			leaf.Set(was)
			n++
			for _, r := range []string{"Tamsen", "Hallam", "html Tamsen", "html Hallam"} {
				require.Equal(t, want[r], got[r], "%s set to %.40v: %s", path, fmt.Sprint(x), r)
			}
			for _, line := range strings.Split(got["Brandt"], "\n") {
				require.Less(t, len(line), 1000, path)
			}
		}

		gauntlet(t, "isolation", "brief"+path, false)
	})

	require.Greater(t, n, 400)
	t.Logf("%d faults", n)
}
