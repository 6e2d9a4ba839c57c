package capalert

import (
	"encoding/json"
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// Some services offer their alerts as GeoJSON features beside CAP, with the
// members of CAP under nearly the same names [seen: answers of the US weather
// service of 2017, 2019, 2024 and 2025 kept in public test code; the pagination
// member from memory]. Each feature is turned into the CAP element that it stands
// for and read as such.
type (
	geoDoc struct {
		Type       string      `json:"type"`
		Features   *[]geoAlert `json:"features"`
		Pagination struct {
			Next string `json:"next"`
		} `json:"pagination"`
		Links []struct {
			Rel  string `json:"rel"`
			Href string `json:"href"`
		} `json:"links"`
		Error  json.RawMessage `json:"error"`
		Errors json.RawMessage `json:"errors"`
		Fault  json.RawMessage `json:"fault"`
	}
	geoAlert struct {
		Geometry   *geoShape `json:"geometry"`
		Properties *geoProps `json:"properties"`
	}
	geoShape struct {
		Type        string          `json:"type"`
		Coordinates json.RawMessage `json:"coordinates"`
	}
	geoProps struct {
		ID          string              `json:"id"`
		Sender      string              `json:"sender"`
		Sent        string              `json:"sent"`
		Status      string              `json:"status"`
		MessageType string              `json:"messageType"`
		References  []geoReference      `json:"references"`
		Event       string              `json:"event"`
		Urgency     string              `json:"urgency"`
		Severity    string              `json:"severity"`
		Certainty   string              `json:"certainty"`
		Headline    string              `json:"headline"`
		Effective   string              `json:"effective"`
		Onset       string              `json:"onset"`
		Expires     string              `json:"expires"`
		Ends        string              `json:"ends"`
		AreaDesc    string              `json:"areaDesc"`
		Geocode     map[string][]string `json:"geocode"`
		EventCode   map[string][]string `json:"eventCode"`
		Parameters  map[string][]string `json:"parameters"`
	}
	geoReference struct {
		Identifier string `json:"identifier"`
		Sender     string `json:"sender"`
		Sent       string `json:"sent"`
	}
)

// readGeo reads a collection of alert features.
func (d *doc) readGeo(body []byte) error {
	var g geoDoc
	if err := ingest.DecodeJSON(body, &g); err != nil {
		return err
	}
	if g.Type != "FeatureCollection" || g.Features == nil {
		return fmt.Errorf("json type %q, want a FeatureCollection of alerts: %w", clip(g.Type), coldseam.ErrInvalid)
	}

	for _, said := range []json.RawMessage{g.Error, g.Errors, g.Fault} {
		if s := string(said); !slices.Contains([]string{"", "null", "false", `""`, "[]", "{}", "0"}, s) {
			return fmt.Errorf("the service answered an error: %s: %w", clip(s), coldseam.ErrInvalid)
		}
	}

	if len(*g.Features) > maxAlerts {
		return fmt.Errorf("more than %d messages in one document: %w", maxAlerts, coldseam.ErrInvalid)
	}
	for _, f := range *g.Features {
		if f.Properties == nil || f.Properties.Event == "" && f.Properties.MessageType == "" {
			return fmt.Errorf("a feature that is no alert: %w", coldseam.ErrInvalid)
		}
		d.alert(f.node(), "")
	}

	d.out.Next = g.Pagination.Next
	for _, l := range g.Links {
		if l.Rel == "next" && d.out.Next == "" {
			d.out.Next = l.Href
		}
	}

	return nil
}

func el(local, text string, kids ...*ingest.Node) *ingest.Node {
	return &ingest.Node{Space: ingest.SpaceCAP, Local: local, Text: text, Kids: kids}
}

// node is the CAP element of a feature.
func (f geoAlert) node() *ingest.Node {
	p := f.Properties
	refs := make([]string, 0, len(p.References))
	for _, r := range p.References {
		refs = append(refs, r.Sender+","+r.Identifier+","+r.Sent)
	}
	info := el("info", "", el("event", p.Event), el("urgency", p.Urgency), el("severity", p.Severity),
		el("certainty", p.Certainty),
		el("headline", p.Headline), el("effective", p.Effective), el("onset", p.Onset), el("expires", p.Expires))
	info.Kids = append(info.Kids, pairs("eventCode", p.EventCode)...)
	info.Kids = append(info.Kids, pairs("parameter", p.Parameters)...)

	if _, said := p.Parameters["eventEndingTime"]; !said && p.Ends != "" {
		info.Kids = append(info.Kids, pairs("parameter", map[string][]string{"eventEndingTime": {p.Ends}})...)
	}
	area := el("area", "", el("areaDesc", p.AreaDesc))
	area.Kids = append(area.Kids, pairs("geocode", p.Geocode)...)
	area.Kids = append(area.Kids, f.Geometry.polygons()...)
	info.Kids = append(info.Kids, area)
	return el("alert", "", el("identifier", p.ID), el("sender", p.Sender), el("sent", p.Sent), el("status", p.Status),
		el("msgType", p.MessageType),
		el("scope", "Public"), el("references", strings.Join(refs, " ")), info)
}

// pairs are name and value elements, sorted by name.
func pairs(local string, m map[string][]string) []*ingest.Node {
	names := make([]string, 0, len(m))
	for k := range m {
		names = append(names, k)
	}
	sort.Strings(names)
	var out []*ingest.Node
	for _, k := range names {
		for _, v := range m[k] {
			out = append(out, el(local, "", el("valueName", k), el("value", v)))
		}
	}
	return out
}

// polygons of a Polygon or MultiPolygon: outer rings, longitude first in
// GeoJSON and second in CAP. A shape of another kind is passed on as it is, and
// the reader of polygons names it as a defect.
func (s *geoShape) polygons() []*ingest.Node {
	if s == nil {
		return nil
	}
	var many [][][][2]float64
	if len(s.Coordinates) > maxAlertBytes {
		return []*ingest.Node{el("polygon", "more than "+strconv.Itoa(maxAlertBytes)+" bytes")}
	}

	switch s.Type {
	case "Polygon":
		var one [][][2]float64
		if json.Unmarshal(s.Coordinates, &one) == nil {
			many = append(many, one)
		}
	case "MultiPolygon":
		if json.Unmarshal(s.Coordinates, &many) != nil {
			many = nil
		}
	}

	if len(many) == 0 {
		return []*ingest.Node{el("polygon", "unreadable "+clip(s.Type))}
	}
	var out []*ingest.Node
	for _, rings := range many {
		if len(rings) == 0 {
			continue
		}
		var b strings.Builder
		for _, p := range rings[0] {
			b.WriteString(strconv.FormatFloat(p[1], 'f', -1, 64) + "," + strconv.FormatFloat(p[0], 'f', -1, 64) + " ")
		}
		out = append(out, el("polygon", b.String()))
	}

	return out
}
