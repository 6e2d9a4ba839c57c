package feeds_test

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/feeds"
)

func TestFetchByHand(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	var out bytes.Buffer
	require.NoError(t, (&feeds.Command{}).Bring(ctx, &out, v.Feeds))
	require.Contains(t, out.String(), "northgauge/latest")
	require.Regexp(t, `northgauge/latest +ok, \d+ rows, \d+ new`, out.String())

	// Kept documents read again write nothing: they are stored already.
	out.Reset()
	require.NoError(t, (&feeds.Command{Replay: true}).Bring(ctx, &out, v.Feeds))
	require.Regexp(t, `documents, [1-9]\d* rows, 0 new, 0 revised\n$`, out.String())

	// A feed that is not there is named with those that are.
	err := (&feeds.Command{Feed: "southgauge"}).Bring(ctx, &out, v.Feeds)
	require.ErrorContains(t, err, `no feed named "southgauge"; there are: northgauge/`)
}

// A back-fill that is stopped half-way goes on where it was, and tells how far
// it is.
func TestBackfillGoesOn(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	w := &cutWriter{after: " 1 of ", cut: cancel}
	c := &feeds.Command{Feed: "northgauge/daily", From: "2014-04-18", Hours: 2}
	require.Error(t, c.Bring(ctx, w, v.Feeds), w.String())
	require.Contains(t, w.String(), "northgauge/daily")
	require.NotContains(t, w.String(), "done")
	asked := len(v.Agency.Requests())
	require.False(t, v.Feeds.Fetcher.SpendAtOnce, "the polls of the service would wait")

	var out bytes.Buffer
	require.NoError(t, c.Bring(t.Context(), &out, v.Feeds))
	require.Contains(t, out.String(), "goes on from 2017-04-1")
	require.Contains(t, out.String(), "done: ok")
	require.Less(t, len(v.Agency.Requests())-asked, 7, "what was brought is not asked for again")

	// Complete, the same command begins anew.
	out.Reset()
	require.NoError(t, c.Bring(t.Context(), &out, v.Feeds))
	require.NotContains(t, out.String(), "goes on")
	require.Contains(t, out.String(), "0 new")
}

func TestBackfillWantsADay(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	err := (&feeds.Command{From: "last spring"}).Bring(t.Context(), &out, &feeds.Feeds{})
	require.ErrorContains(t, err, `--from "last spring": want YYYY-MM-DD`)
}

// cutWriter ends a context as soon as some text was written.
type cutWriter struct {
	bytes.Buffer
	after string
	cut   func()
}

func (w *cutWriter) Write(p []byte) (int, error) {
	if strings.Contains(string(p), w.after) {
		w.cut()
	}
	return w.Buffer.Write(p)
}
