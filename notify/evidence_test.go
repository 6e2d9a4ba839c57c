package notify

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestEvidenceWords(t *testing.T) {
	t.Parallel()
	e := coldseam.Evidence{N: 19}
	require.Contains(t, EvidenceWords(e), "No evidence yet: 19 of them were judged, 20 are needed.")
	e = coldseam.Evidence{N: 40, Enough: true, Gap: coldseam.Estimate{Value: .25, Lo: -.05, Hi: .5},
		Words: map[string]coldseam.Share{"GO": {Good: 10, N: 20}, "STAY": {Good: 5, N: 20}}}
	require.Contains(t, EvidenceWords(e),
		"Not shown: good on 10 of 20 GO and on 5 of 20 STAY mornings, +25 of a hundred (90 % interval -5 to +50).")
	e.Gap.Lo = .01
	require.Contains(t, EvidenceWords(e), "mornings? Yes: ")
	e.Gap = coldseam.Estimate{Value: -.2, Lo: -.3, Hi: -.1}
	require.Contains(t, EvidenceWords(e), "No, worse: ")
}
