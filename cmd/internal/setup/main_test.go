package setup

import (
	"testing"

	"example.org/coldseam/cmd/internal/clubtest"
)

func TestMain(m *testing.M) { clubtest.Main(m) }
