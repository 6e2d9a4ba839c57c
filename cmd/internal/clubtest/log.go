package clubtest

import (
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/democlub"
)

// LogUntil is the club's log before a morning.
func LogUntil(morning coldseam.Date) string {
	lines := strings.Split(democlub.Log, "\n")
	out := lines[0] + "\n"
	for _, l := range lines[1:] {
		if f := strings.SplitN(l, ",", 3); len(f) == 3 && f[1] < morning.String() {
			out += l + "\n"
		}
	}
	return out
}
