package notify

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// allWords is what a mail may cost its reader in all, without links and the foot
// [proposal].
const allWords = 450

var linkOrFoot = regexp.MustCompile(`(?s)https?://\S+|Made from public gauge.*`)

// Every kind of mail stays within what is read in twenty seconds; several rivers
// share the words below the fold.
func TestMailBudget(t *testing.T) {
	t.Parallel()
	for name, l := range cases() {
		ct, err := ParseContent(l.Payload)
		require.NoError(t, err)
		v := composer().view(l, ct, sampleCharts(t), fullBlocks)
		text, html, err := renderParts(v)
		require.NoError(t, err)
		require.LessOrEqual(t, len(html), MaxHTML, name)

		for _, b := range v.Blocks {
			require.LessOrEqual(t, len(b.Lines), foldLines, name)
			require.LessOrEqual(t, len(strings.Fields(strings.Join(b.Lines, " "))), foldWords, name)
		}
		words := len(strings.Fields(linkOrFoot.ReplaceAllString(text, "")))
		require.LessOrEqual(t, words, allWords+300*max(len(v.Blocks)-1, 0), name)
	}
}
