package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/store/storetest"
)

// The program as a whole: a private database, a config on disk, exit status 2
// for a club without a river.
func TestCheckOnTheCommandLine(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "coldseam.toml")
	require.NoError(t, os.WriteFile(path, []byte("database_url = '"+storetest.URL(t)+"'\nstate_dir = '"+t.TempDir()+
		"'\n[club]\nname = 'Our Club'\n"), 0o600))
	var out, errs bytes.Buffer
	require.Equal(t, 2, execute(t.Context(), []string{"check", "--config", path, "--offline", "--json"}, &out, &errs),
		errs.String())
	var got struct {
		Lines []struct{ Key, Level, Found string }
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &got))
	said := ""
	for _, l := range got.Lines {
		said += l.Key + " " + l.Level + " " + l.Found + "\n"
	}
	for _, want := range []string{"reaches fail none", "database ok the configured database",
		"token key fail .*not set", "smtp ok .*skipped: offline"} {
		require.Regexp(t, "(?m)^"+want, said)
	}
}
