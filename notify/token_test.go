package notify

import (
	"encoding/base64"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

func allPurposes() []Purpose {
	return []Purpose{ForUnsubscribe, ForConfirm, ForPrefs, ForLog, ForCalendar}
}

// TestTokenRoundTrip: what is signed is read back, by this purpose alone, and
// expires to the second.
func TestTokenRoundTrip(t *testing.T) {
	t.Parallel()
	k := keys()

	rapid.Check(t, func(t *rapid.T) {
		c := Claim{
			Purpose: rapid.SampledFrom(allPurposes()).Draw(t, "purpose"), Subscriber: rapid.Int64Min(0).Draw(t, "sub"),
			Extra: rapid.StringN(0, 40, 60).Draw(t, "extra"),
		}
		now := at(4, 45).UTC()
		if rapid.Bool().Draw(t, "expires") {
			c.Expires = now.Add(time.Duration(rapid.IntRange(0, 1e6).Draw(t, "life")) * time.Second)
		}
		s := k.Sign(c)
		require.LessOrEqual(t, len(s), maxTokenLen)

		got, err := k.Verify(s, c.Purpose, now)
		require.NoError(t, err)
		require.Equal(t, c, got)
		for _, p := range allPurposes() {
			if p != c.Purpose {
				_, err := k.Verify(s, p, now)
				require.ErrorIs(t, err, coldseam.ErrInvalid)
			}
		}

		if !c.Expires.IsZero() {
			_, err = k.Verify(s, c.Purpose, c.Expires.Add(time.Second))
			require.ErrorIs(t, err, coldseam.ErrStale)
		}
		other := k
		other.List = "another"
		_, err = other.Verify(s, c.Purpose, now)
		require.ErrorIs(t, err, coldseam.ErrInvalid, "a token is good for one list")
	})
}

// TestEveryBitCounts flips each bit of a token and cuts it at every length.
func TestEveryBitCounts(t *testing.T) {
	t.Parallel()
	k := keys()
	s := k.Sign(Claim{Purpose: ForPrefs, Subscriber: 17, Expires: at(9, 0)})
	raw, err := base64.RawURLEncoding.DecodeString(s)
	require.NoError(t, err)

	for i := range len(raw) * 8 {
		bad := append([]byte(nil), raw...)
		bad[i/8] ^= 1 << (i % 8)
		for _, p := range allPurposes() {
			_, err := k.Verify(base64.RawURLEncoding.EncodeToString(bad), p, at(5, 0))
			require.ErrorIs(t, err, coldseam.ErrInvalid, "bit %d", i)
		}
	}

	for i := range len(s) * 8 { // bits of the written form, unused ones included
		bad := []byte(s)
		bad[i/8] ^= 1 << (i % 8)
		_, err := k.Verify(string(bad), ForPrefs, at(5, 0))
		require.Error(t, err, "bit %d of the text", i)
	}

	for n := range s {
		_, err := k.Verify(s[:n], ForPrefs, at(5, 0))
		require.Error(t, err)
	}

	for _, junk := range []string{"", "=", s + "=", s + "A", " " + s, s + "\n", strings.Repeat("A", 5000)} {
		_, err := k.Verify(junk, ForPrefs, at(5, 0))
		require.Error(t, err, junk)
	}
}

func TestKeyRotation(t *testing.T) {
	t.Parallel()
	old := keys()
	s := old.Sign(Claim{Purpose: ForUnsubscribe, Subscriber: 17})
	addr := old.BounceAddress(17, day0, "b.example")
	rotated := Tokens{List: "brief", Current: TokenKey{ID: 3, Secret: []byte(strings.Repeat("n", 32))},
		Previous: old.Current}
	_, err := rotated.Verify(s, ForUnsubscribe, at(5, 0))
	require.NoError(t, err, "the previous key still verifies")
	_, _, _, err = rotated.ParseAddress(addr)
	require.NoError(t, err)

	gone := Tokens{List: "brief", Current: TokenKey{ID: 4, Secret: []byte(strings.Repeat("m", 32))},
		Previous: rotated.Current}
	_, err = gone.Verify(s, ForUnsubscribe, at(5, 0))
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	_, _, _, err = gone.ParseAddress(addr)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.NoError(t, rotated.Check())
	require.ErrorIs(t, Tokens{List: "x", Current: TokenKey{Secret: []byte("short")}}.Check(), coldseam.ErrInvalid)
	require.ErrorIs(t, Tokens{Current: old.Current}.Check(), coldseam.ErrInvalid)
	same := old
	same.Previous.ID = same.Current.ID
	require.ErrorIs(t, same.Check(), coldseam.ErrInvalid)
}

// TestSignedAddresses: bounce and unsubscribe addresses survive folding to
// lower case and no single changed character.
func TestSignedAddresses(t *testing.T) {
	t.Parallel()
	k := keys()
	b := k.BounceAddress(17, day0, "bounce.club.example")
	require.True(t, strings.HasPrefix(b, "b+17-20270410-"), b)
	local, _, _ := strings.Cut(b, "@")
	require.LessOrEqual(t, len(local), 64, "the greatest local part of RFC 5321, from memory")

	p, sub, d, err := k.ParseAddress("<" + strings.ToUpper(b) + ">")
	require.NoError(t, err)
	require.Equal(t, Purpose('b'), p)
	require.Equal(t, int64(17), sub)
	require.Equal(t, day0, d)
	u := k.UnsubscribeAddress(17, "bounce.club.example")
	p, sub, _, err = k.ParseAddress(u)
	require.NoError(t, err)
	require.Equal(t, ForUnsubscribe, p)
	require.Equal(t, int64(17), sub)

	for i := range local {
		for _, c := range "abz234-+0" {
			bad := []byte(local)
			if bad[i] == byte(c) {
				continue
			}
			bad[i] = byte(c)
			_, _, _, err := k.ParseAddress(string(bad) + "@bounce.club.example")
			require.ErrorIs(t, err, coldseam.ErrInvalid, string(bad))
		}
	}

	for _, junk := range []string{"", "@", "b+@x", "b+17@x", "angler@home.example", "u+17-20270410-aaaa@x",
		"b+17-20270410-@x"} {
		_, _, _, err := k.ParseAddress(junk)
		require.ErrorIs(t, err, coldseam.ErrInvalid, junk)
	}
}

func TestLinks(t *testing.T) {
	t.Parallel()
	l := composer().Links
	require.NoError(t, l.Check())
	for _, bad := range []string{"", "club.example", "ftp://club.example", "https://", "https://u@club.example",
		"https://club.example?x=1"} {
		require.ErrorIs(t, Links{PublicURL: bad, Tokens: keys()}.Check(), coldseam.ErrInvalid, bad)
	}
	require.Equal(t, "https://club.example/river/a%2Fb%3Fc", l.River("a/b?c"))
	tok := strings.TrimPrefix(l.Log(17, "tamsen-bend", day0, at(4, 45)), "https://club.example"+PathLog)
	c, err := l.Tokens.Verify(tok, ForLog, at(4, 45).Add(71*time.Hour))
	require.NoError(t, err)

	r, d, err := ParseLogExtra(c.Extra)
	require.NoError(t, err)
	require.Equal(t, coldseam.ReachID("tamsen-bend"), r)
	require.Equal(t, day0, d)
	_, err = l.Tokens.Verify(tok, ForLog, at(4, 45).Add(73*time.Hour))
	require.ErrorIs(t, err, coldseam.ErrStale)
	for _, bad := range []string{"", "2027-04-10", "2027-04-10 ", "x y"} {
		_, _, err := ParseLogExtra(bad)
		require.ErrorIs(t, err, coldseam.ErrInvalid)
	}
}
