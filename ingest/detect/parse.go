// Package detect reads a body of any format that ingest knows: it looks at
// the body, never at the Content-Type, and hands it to the parser of that
// format.
package detect

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/capalert"
	"example.org/coldseam/ingest/covjson"
	"example.org/coldseam/ingest/ogcfeatures"
	"example.org/coldseam/ingest/records"
	"example.org/coldseam/ingest/sensorthings"
	"example.org/coldseam/ingest/waterml"
)

// parser of a format; nil for tables, which need a column map: see package
// table.
func parser(format string) ingest.ParseFunc {
	switch format {
	case ingest.FormatFeatures:
		return ogcfeatures.Parse
	case ingest.FormatCovJSON, ingest.FormatGridpoint:
		return covjson.Parse
	case ingest.FormatWaterML2:
		return waterml.Parse
	case ingest.FormatWaterML1:
		return waterml.ParseV1
	case ingest.FormatSensorThings:
		return sensorthings.Parse
	case ingest.FormatCAP:
		return capalert.Parse
	case ingest.FormatRecords:
		return records.Parse
	}
	return nil
}

// Parse reads a document. With a format in the profile that parser is used;
// else the body decides, so that a file on disk needs no profile. A body of no
// known format is ErrInvalid, with its first bytes quoted.
func Parse(r io.Reader, p ingest.Profile) (ingest.Batch, error) {
	body, err := ingest.ReadBody(r, p)
	if err != nil {
		return ingest.Batch{}, err
	}

	format := p.Format
	if format == "" { // looking at a large body costs as much as reading it
		format = Format(body)
	}
	parse := parser(format)
	if parse == nil {
		if said := ingest.ServiceError(body); said != "" {
			return ingest.Batch{}, refusal(said)
		}
		return ingest.Batch{}, fmt.Errorf("document of no known format: begins %q: %w", head(body), coldseam.ErrInvalid)
	}

	if p.EncodingOverride != "" {
		p.EncodingOverride = "utf-8" // ReadBody has done it, and what the document says of itself stays void
	}
	b, err := parse(bytes.NewReader(body), p)
	if err == nil {
		return b, nil
	}

	if said := ingest.ServiceError(body); said != "" {
		err = refusal(said)
	}
	return ingest.Batch{}, err
}

func refusal(said string) error {
	return fmt.Errorf("an error of the service instead of data: %s: %w", said, coldseam.ErrInvalid)
}

// Format tells the format of a body, "" for none that is known.
func Format(body []byte) string {
	switch ingest.Sniff(body) {
	case ingest.ShapeJSON:
		return jsonFormat(body)
	case ingest.ShapeXML:
		return xmlFormat(body)
	}
	return ""
}

// jsonFormat looks at the members that tell the formats apart. A body that is
// no valid JSON gets the first format that its text fits, so that the parser
// of that format says what is wrong.
func jsonFormat(body []byte) string {
	var d struct {
		Type        string                     `json:"type"`
		Value       json.RawMessage            `json:"value"`
		DeclaredTyp string                     `json:"declaredType"`
		Properties  map[string]json.RawMessage `json:"properties"`
		Features    json.RawMessage            `json:"features"`
	}
	if json.Unmarshal(body, &d) != nil {
		return textFormat(body)
	}
	has := func(k string) bool { _, ok := d.Properties[k]; return ok }

	switch {
	case tellsAlert(d.Properties), tellsAlert(firstOf(d.Features)):
		return ingest.FormatCAP
	case d.Type == "Coverage", d.Type == "CoverageCollection":
		return ingest.FormatCovJSON
	case d.Type == "Feature" && (has("updateTime") || has("forecastGridData")):
		return ingest.FormatGridpoint
	case d.Type == "FeatureCollection", d.Type == "Feature":
		return ingest.FormatFeatures
	case d.DeclaredTyp != "", bytes.Contains(d.Value, []byte(`"timeSeries"`)):
		return ingest.FormatWaterML1
	case bytes.Contains(body, []byte(`@iot.`)), bytes.Contains(body, []byte(`"phenomenonTime"`)):
		return ingest.FormatSensorThings
	}

	return ""
}

// tellsAlert reports whether the properties of a feature are those of a warning.
func tellsAlert(properties map[string]json.RawMessage) bool {
	has := func(k string) bool { _, ok := properties[k]; return ok }
	return has("event") && (has("messageType") || has("severity") || has("urgency") || has("certainty"))
}

// firstOf are the properties of the first feature that has any.
func firstOf(features json.RawMessage) map[string]json.RawMessage {
	list := json.NewDecoder(bytes.NewReader(features))
	if t, err := list.Token(); err != nil || t != json.Delim('[') {
		return nil
	}
	for list.More() {
		var f struct {
			Properties map[string]json.RawMessage `json:"properties"`
		}
		if list.Decode(&f) != nil || len(f.Properties) > 0 {
			return f.Properties
		}
	}
	return nil
}

func textFormat(body []byte) string {
	for _, c := range []struct{ word, format string }{
		{`"CoverageCollection"`, ingest.FormatCovJSON}, {`"Coverage"`, ingest.FormatCovJSON},
		{`"updateTime"`, ingest.FormatGridpoint},
		{`"FeatureCollection"`, ingest.FormatFeatures}, {`"Feature"`, ingest.FormatFeatures},
		{`"timeSeries"`, ingest.FormatWaterML1}, {`@iot.`, ingest.FormatSensorThings},
	} {
		if bytes.Contains(body, []byte(c.word)) {
			return c.format
		}
	}
	return ""
}

// xmlFormat decides on the first element inside any SOAP envelope. Everything that is not WaterML 1 or
// CAP goes to the WaterML 2 parser, whose envelopes are many and which names
// exception reports; a web page is no document.
func xmlFormat(body []byte) string {
	x := xml.NewDecoder(bytes.NewReader(body))
	x.Strict = false
	x.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil }

	found := ""
	for {
		t, err := x.Token()
		if err != nil {
			return found
		}
		s, ok := t.(xml.StartElement)
		if !ok {
			continue
		}

		switch name := strings.ToLower(s.Name.Local); {
		case ingest.SpaceOf(s.Name.Space) == ingest.SpaceSOAP:
			found = ingest.FormatWaterML2 // unless what the envelope holds says otherwise
			continue
		case name == "html":
			return ""
		case name == "timeseriesresponse", strings.Contains(s.Name.Space, "cuahsi.org/"):
			return ingest.FormatWaterML1
		case name == "alert", name == "alerts", name == "feed", name == "rss", name == "edxldistribution":
			return ingest.FormatCAP
		}

		return ingest.FormatWaterML2
	}
}

func head(b []byte) string {
	b = bytes.TrimSpace(b)
	return strings.ToValidUTF8(string(b[:min(len(b), 80)]), "?")
}
