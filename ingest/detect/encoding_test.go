package detect_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
)

// The override wins over an encoding that the document declares, once.
func TestEncodingOverrideIsAppliedOnce(t *testing.T) {
	t.Parallel()
	doc := `<?xml version="1.0" encoding="iso-8859-5"?><alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>1</identifier><sender>w@example.org</sender><sent>2026-04-10T00:00:00Z</sent><status>Actual</status><msgType>Alert</msgType><scope>Public</scope>` +
		"<info><event>\xdcberflutung</event><urgency>Expected</urgency><severity>Severe</severity><certainty>Likely</certainty><expires>2026-04-11T00:00:00Z</expires></info></alert>"
	b, err := detect.Parse(strings.NewReader(doc), ingest.Profile{Name: "x", EncodingOverride: "windows-1252"})
	require.NoError(t, err)
	require.Equal(t, "Überflutung", b.Alerts[0].Event)
}
