package main

import (
	"testing"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/notify/sink"
)

// town is the whole program on one machine, with what the tests here do to it.
type town struct{ *clubtest.Town }

func newTown(t *testing.T, script sink.Script) *town {
	t.Helper()
	return &town{clubtest.New(t, script)}
}

func newTownOn(t *testing.T, dbURL string, script sink.Script) *town {
	t.Helper()
	return &town{clubtest.NewOn(t, dbURL, script)}
}

func newReadyTown(t *testing.T, script sink.Script) *town {
	t.Helper()
	return &town{clubtest.NewReady(t, script)}
}

func servingTown(t *testing.T) *town {
	t.Helper()
	return &town{clubtest.NewServing(t)}
}
