package admin

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/store"
)

func TestSubscriberLife(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	var out bytes.Buffer
	say := func() string { s := out.String(); out.Reset(); return s }

	require.NoError(t, (&subAddCmd{
		Email:  "bow@club.example.org",
		Name:   "bow",
		Reach:  []string{"tamsen-bend"},
		SendAt: "04:30",
	}).add(ctx, &out, v.Parts))
	require.Contains(t, say(), "pending; the confirm mail is queued")
	require.NoError(t, (&subAddCmd{Email: "far@club.example.org", Confirmed: true}).add(ctx, &out, v.Parts))
	require.Contains(t, say(), "confirmed on the admin's word")
	require.NoError(t, (&subAddCmd{Email: "FAR@club.example.org"}).add(ctx, &out, v.Parts))
	require.Contains(t, say(), "known already, confirmed; nothing changed")
	require.ErrorIs(t, (&subAddCmd{Email: "x@club.example.org", Reach: []string{"nowhere"}}).add(ctx, &out, v.Parts),
		coldseam.ErrNotFound)
	require.ErrorIs(t, (&subAddCmd{Email: "not an address"}).add(ctx, &out, v.Parts), coldseam.ErrInvalid)
	require.NotContains(t, (&subAddCmd{Email: "not@an address"}).add(ctx, &out, v.Parts).Error(), "not@an")

	// The confirm mail really goes.
	_, err := v.Mail.Sender("test").Run(ctx, 10)
	require.NoError(t, err)
	require.Len(t, v.Messages(t)["bow@club.example.org"], 1)

	require.NoError(t, (&subListCmd{}).list(ctx, &out, v.Parts))
	list := say()
	require.Contains(t, list, "bow@club.example.org")
	require.Contains(t, list, "2 members: 1 confirmed, 1 pending")
	require.Contains(t, list, "tamsen-bend")

	far, err := member(ctx, v.Parts, "far@club.example.org")
	require.NoError(t, err)
	_, err = v.DB.RecordBounce(ctx, far.ID, store.Bounce{
		At:      v.Now(),
		MailDay: clubtest.Saturday,
		Code:    550,
		Esc:     "5.1.1",
		Text:    "no such user here",
	})
	require.NoError(t, err)
	require.NoError(t, (&subShowCmd{Who: "far@club.example.org"}).show(ctx, &out, v.Parts))
	shown := say()
	require.Contains(t, shown, "state      suppressed")
	require.Contains(t, shown, "550 5.1.1 suppressed: no such user here")
	require.Contains(t, shown, "04:45 America/Chicago, all")
	require.NoError(t, (&subUnsuppressCmd{Since: "2026-04-17"}).unsuppress(ctx, &out, v.Parts))
	require.Contains(t, say(), "1 members get mail again")
	require.Error(t, (&subUnsuppressCmd{}).unsuppress(ctx, &out, v.Parts))

	require.NoError(t, (&subExportCmd{Who: "far@club.example.org"}).export(ctx, &out, v.Parts))
	var x store.Export
	require.NoError(t, json.Unmarshal([]byte(say()), &x))
	require.Equal(t, "far@club.example.org", x.Subscriber.Email)
	require.Len(t, x.Bounces, 1)

	// Forgetting asks first, then leaves nothing.
	require.NoError(t, (&subForgetCmd{Who: "far@club.example.org"}).forget(ctx, &out, v.Parts))
	require.Contains(t, say(), "would be erased")
	require.NoError(t, (&subForgetCmd{Who: "far@club.example.org", Yes: true}).forget(ctx, &out, v.Parts))
	require.Contains(t, say(), "12 months")
	_, err = member(ctx, v.Parts, "far@club.example.org")
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	require.NotContains(t, err.Error(), "@")

	v.Mu.Lock()
	defer v.Mu.Unlock()
	require.NotContains(t, v.Output.String(), "@", "no address in the log")
}

func TestMembersGoOutAndComeBack(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	list := `email,name,reaches,units,send_at
one@club.example.org,=cmd(),tamsen-bend hallam-sandbar,metric,04:30
two@club.example.org,two,,,
ONE@club.example.org,again,,,
three@club.example.org,three,nowhere,,
four,four,,,
five@club.example.org,five,,,late
six@club.example.org,six,,imperial,
seven@club.example.org,seven
`

	var out bytes.Buffer
	require.NoError(t, func() error {
		_ = (&subImportCmd{DryRun: true}).load(ctx, &out, v.Parts, strings.NewReader("email\nzero@club.example.org\n"))
		_, err := member(ctx, v.Parts, "zero@club.example.org")
		require.ErrorIs(t, err, coldseam.ErrNotFound, "a dry run enters nobody")
		return nil
	}())
	require.Contains(t, out.String(), "1: would be entered")
	out.Reset()
	err := (&subImportCmd{Confirmed: true}).load(ctx, &out, v.Parts, strings.NewReader(list))
	require.ErrorContains(t, err, "6 of 8 lines refused")

	for _, want := range []string{"2: confirmed on the admin's word", "line 4: refused: the same address as line 2",
		"line 5: refused: reach \"nowhere\": not found; there are: ",
		"line 6: refused", "line 7: refused", `units "imperial"; want us or metric`,
		"line 9: refused: 2 cells, the header has 5"} {
		require.Contains(t, out.String(), want)
	}
	require.NotContains(t, out.String(), "@", "the report names lines, not people")

	out.Reset()
	require.NoError(t, (&subExportCmd{All: true}).export(ctx, &out, v.Parts))
	require.Contains(t, out.String(), "one@club.example.org,'=cmd(),confirmed")

	// Read by another club's program: the same members.
	w := clubtest.New(t, nil)
	text := out.String()
	out.Reset()
	require.NoError(t, (&subImportCmd{Confirmed: true}).load(ctx, &out, w.Parts, strings.NewReader(text)))

	one, err := member(ctx, w.Parts, "one@club.example.org")
	require.NoError(t, err)
	require.Equal(t, "=cmd()", one.Name)
	require.Equal(t, []coldseam.ReachID{"tamsen-bend", "hallam-sandbar"}, one.Prefs.Reaches)
	require.Equal(t, "04:30", one.Prefs.SendAt)
	require.Equal(t, "metric", one.Prefs.Units)
	two, err := member(ctx, w.Parts, "two@club.example.org")
	require.NoError(t, err)
	require.Empty(t, two.Prefs.Reaches)
}

func TestMemberFilesAreRefused(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "no header line"},
		{"unknown column", "email,phone\n", `column "phone"`},
		{"no address", "name\nx\n", "no column email"},
		{"open quote", "email\n\"x", "quotes or cells that do not end"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := readMembers(strings.NewReader(c.text))
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, c.want)
		})
	}
}

// A list from a stranger's spreadsheet ends in rows or in an error, never in a
// panic, and what is refused says so.
func FuzzReadMembers(f *testing.F) {
	for _, s := range []string{"email\na@b.example\n", "email,units\nx,\n\"", "\ufeffemail;name\n", "email\n\n\n,\n",
		"email\r\n'=x\r\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		rows, err := readMembers(strings.NewReader(s))
		if err != nil {
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			return
		}
		for _, r := range rows {
			require.Positive(t, r.line)
			if r.err != nil {
				require.ErrorIs(t, r.err, coldseam.ErrInvalid)
			}
		}
	})
}
