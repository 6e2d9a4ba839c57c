package waterml

import (
	"encoding/json"
	"fmt"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// The JSON form of WaterML 1.1: repeated elements are arrays, attributes are
// members.
type (
	v1Doc struct {
		Value json.RawMessage `json:"value"`
	}
	v1Body struct {
		TimeSeries *[]json.RawMessage `json:"timeSeries"` // each is decoded when its turn comes
	}
	v1JSON struct {
		Name       string `json:"name"`
		SourceInfo struct {
			SiteName string    `json:"siteName"`
			SiteCode []v1Value `json:"siteCode"`
			Zone     *struct {
				Default struct {
					Offset string `json:"zoneOffset"`
				} `json:"defaultTimeZone"`
				DST *bool `json:"siteUsesDaylightSavingsTime"`
			} `json:"timeZoneInfo"`
			Geo struct {
				Geog struct {
					Lat json.Number `json:"latitude"`
					Lon json.Number `json:"longitude"`
				} `json:"geogLocation"`
			} `json:"geoLocation"`
		} `json:"sourceInfo"`
		Variable struct {
			Code []v1Value `json:"variableCode"`
			Name string    `json:"variableName"`
			Unit struct {
				Code string `json:"unitCode"`
			} `json:"unit"`
			Options struct {
				Option []struct {
					Value string `json:"value"`
					Code  string `json:"optionCode"`
				} `json:"option"`
			} `json:"options"`
			NoData json.Number `json:"noDataValue"`
		} `json:"variable"`
		Values []struct {
			Value []struct {
				Value      any       `json:"value"`
				Qualifiers v1Strings `json:"qualifiers"`
				DateTime   string    `json:"dateTime"`
			} `json:"value"`
			Method []struct {
				ID json.Number `json:"methodID"`
			} `json:"method"`
		} `json:"values"`
	}
	v1Value struct {
		Value string `json:"value"`
	}
)

// v1Strings is an array of texts, or one text with codes separated by spaces.
type v1Strings []string

// UnmarshalJSON takes both forms, and null.
func (s *v1Strings) UnmarshalJSON(b []byte) error {
	var one string
	if json.Unmarshal(b, &one) == nil {
		*s = strings.Fields(one)
		return nil
	}
	return json.Unmarshal(b, (*[]string)(s))
}

func (d *v1) readJSON(body []byte) error {
	if err := ingest.Dense(body, valueBytes); err != nil {
		return err
	}
	var doc v1Doc
	if err := ingest.DecodeJSON(body, &doc); err != nil {
		return err
	}
	var list v1Body
	if err := json.Unmarshal(doc.Value, &list); err != nil || list.TimeSeries == nil {
		return fmt.Errorf("json without a list value.timeSeries: %w", coldseam.ErrInvalid)
	}

	for _, raw := range *list.TimeSeries {
		var t v1JSON
		if err := json.Unmarshal(raw, &t); err != nil {
			return fmt.Errorf("json without a list value.timeSeries: %w", coldseam.ErrInvalid)
		}
		d.add(t.series())
	}

	return nil
}

func (t v1JSON) series() v1Series {
	s := v1Series{
		name:         t.Name,
		variableName: t.Variable.Name,
		unitCode:     t.Variable.Unit.Code,
		noData:       t.Variable.NoData.String(),
	}
	s.site = ingest.SiteMeta{Name: t.SourceInfo.SiteName, Lat: number(t.SourceInfo.Geo.Geog.Lat.String()),
		Lon: number(t.SourceInfo.Geo.Geog.Lon.String())}
	if len(t.SourceInfo.SiteCode) > 0 {
		s.site.Code = t.SourceInfo.SiteCode[0].Value
	}
	if z := t.SourceInfo.Zone; z != nil && z.DST != nil {
		s.fixedZone = fixed(z.Default.Offset, fmt.Sprint(*z.DST))
	}
	if len(t.Variable.Code) > 0 {
		s.variable = t.Variable.Code[0].Value
	}

	for _, o := range t.Variable.Options.Option {
		if s.statCode = o.Code; s.statCode == "" {
			s.statCode = o.Value
		}
	}

	for _, v := range t.Values {
		b := v1Block{}
		if len(v.Method) > 0 {
			b.method = v.Method[0].ID.String()
		}
		for _, x := range v.Value {
			raw := ""
			if x.Value != nil {
				raw = fmt.Sprint(x.Value)
			}
			b.rows = append(b.rows, v1Row{value: raw, at: x.DateTime, qualifiers: x.Qualifiers, v1Rest: noRest})
		}

		s.blocks = append(s.blocks, b)
	}

	return s
}
