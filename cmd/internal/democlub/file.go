package democlub

import (
	"fmt"
	"regexp"
	"strings"

	"github.com/BurntSushi/toml"

	"example.org/coldseam/ingest"
)

// unset is a line of a key without a value of its own: the program's default
// stands, and the zero itself would be out of range.
var unset = regexp.MustCompile(`(?m)^ *\w+ = (0|0\.0|"0s"|""|false|\[\])\n`)

// File is the configuration of a demo that runs, as coldseam.toml: with it
// every command works on what the demo stored.
func File(stateDir, listen, smtp string, profiles []ingest.Profile) (string, error) {
	var agencies strings.Builder
	err := toml.NewEncoder(&agencies).Encode(map[string]any{"profile": profiles})
	if err != nil {
		return "", fmt.Errorf("profiles of the demo: %w", err)
	}

	own := fmt.Sprintf("state_dir = %q\nlisten = %q\npublic_url = %q\n", stateDir, listen, "http://"+listen)
	text := strings.Replace(TOML, "public_url = \"http://127.0.0.1:8099\"\n", own, 1)
	text = strings.Replace(text, "[mail]\n", fmt.Sprintf("[mail]\nsmtp = %q\n", smtp), 1)
	return text + Cold + "\n# The invented agency; it answers while the demo runs.\n" + unset.ReplaceAllString(agencies.String(), ""), nil
}
