package browsertest

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// Axe returns a check of the page that the browser shows by axe-core, an
// accessibility checker not of our making: what breaks WCAG 2.2 at A or AA, and its
// own advice. Where .ci/axe.sh could not fetch it the test skips and says so.
func Axe(t *testing.T) func(ctx context.Context) []string {
	t.Helper()
	root, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(root, "go.mod")); err == nil {
			break
		}
		require.NotEqual(t, root, filepath.Dir(root), "no go.mod above")
		root = filepath.Dir(root)
	}
	found, err := filepath.Glob(filepath.Join(root, "bin", "axe", "axe-*.min.js"))
	require.NoError(t, err)
	if len(found) == 0 {
		t.Skip("no axe-core in bin/axe: .ci/axe.sh fetches it where there is npm")
	}
	script, err := os.ReadFile(found[0])
	require.NoError(t, err)

	return func(ctx context.Context) []string {
		t.Helper()
		bad, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](string(script)+`
;axe.run(document, {resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})
  .then(r => r.violations.flatMap(v => v.nodes.map(n => v.id + ': ' + n.target.join(' ') + ' ' + n.html.slice(0, 120))))`,
			chromedp.EvalAwaitPromise))
		require.NoError(t, err)
		return bad
	}
}
