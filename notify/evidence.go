package notify

import (
	"fmt"

	"example.org/coldseam"
)

// EvidenceWords answer whether GO mornings fished better than STAY mornings.
func EvidenceWords(e coldseam.Evidence) string {
	const question = "Did GO mornings fish better than STAY mornings? "
	if !e.Enough {
		return question + fmt.Sprintf("No evidence yet: %d of them were judged, %d are needed.", e.N,
			coldseam.MinEvidence)
	}
	word := "Not shown"
	switch {
	case e.Gap.Lo > 0:
		word = "Yes"
	case e.Gap.Hi < 0:
		word = "No, worse"
	}
	g, s := e.Words[coldseam.Go.String()], e.Words[coldseam.Stay.String()]
	return question + fmt.Sprintf("%s: good on %d of %d GO and on %d of %d STAY mornings, "+
		"%+.0f of a hundred (90 %% interval %+.0f to %+.0f).", word, g.Good, g.N, s.Good, s.N, 100*e.Gap.Value, 100*e.Gap.Lo, 100*e.Gap.Hi)
}
