//go:build !race

package notify

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestCautionEverywhere: the caution, when it was made and where later news
// stands are in both parts of every kind.
func TestCautionEverywhere(t *testing.T) {
	t.Parallel()
	for name := range cases() {
		text, html := renderCase(t, name)
		joined := strings.Join(strings.Fields(text), " ")
		for _, sentence := range []string{
			"Made from public gauge and weather data that may be provisional or wrong.",
			"This is not a safety clearance.",
			"Look at the water before you launch and turn back if in doubt.",
			"Hire a licensed guide if you do not know the reach.",
			"The club takes no bookings and gives no professional advice.",
		} {
			require.Contains(t, joined, sentence, name)
			require.Contains(t, html, sentence, name)
		}
		if strings.Contains(text, "\nMADE ") { // a word: a notice says until when it holds
			require.Contains(t, strings.ToLower(joined), "later news", name)
			require.Contains(t, strings.ToLower(html), "later news", name)
		}
	}
}
