package capalert

import (
	"fmt"
	"math"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// pointRadius of a circle of radius 0 [proposal].
const pointRadius = 5.0 // km

func (b *builder) area(n *ingest.Node) {
	ar := coldseam.AlertArea{Desc: flat(n.Word("areaDesc"))}
	for _, g := range n.Named("geocode") {
		for _, v := range g.Named("value") { // some services write several; a value may list several codes
			if code := flat(v.Val()); code != "" {
				ar.Geocodes = append(ar.Geocodes, g.Word("valueName")+"="+code)
			}
		}
		if flat(g.Word("value")) == "" && len(g.Named("value")) < 2 {
			b.defect("geocode %q has no value", clip(g.Word("valueName")))
			ar.Damaged = true
		}
	}

	for _, k := range n.Named("polygon") {
		if p, err := polygon(k.Val()); err == nil {
			ar.Polygons = append(ar.Polygons, p)
		} else if k.Val() != "" {
			b.defect("polygon: %s", err)
			ar.Damaged = true
		}
	}

	for _, k := range n.Named("circle") {
		if c, err := circle(k.Val()); err == nil {
			ar.Circles = append(ar.Circles, c)
		} else if k.Val() != "" {
			b.defect("circle: %s", err)
			ar.Damaged = true
		}
	}

	if len(ar.Geocodes)+len(ar.Polygons)+len(ar.Circles) > 0 &&
		!b.once("area", fmt.Sprint(ar.Geocodes, ar.Polygons, ar.Circles)) {
		return // languages repeat their areas
	}
	b.a.Areas = append(b.a.Areas, ar)
}

// polygon reads "lat,lon lat,lon ..."; pairs may end with a comma, and the
// last point may be missing. Indexes write "lat lon lat lon" as well.
func polygon(s string) ([][2]float64, error) {
	var out [][2]float64
	words := strings.Fields(s)
	if !strings.Contains(s, ",") && len(words)%2 == 0 {
		pairs := make([]string, 0, len(words)/2)
		for i := 0; i < len(words); i += 2 {
			pairs = append(pairs, words[i]+","+words[i+1])
		}
		words = pairs
	}

	for _, w := range words {
		p, err := pair(strings.Trim(w, ","))
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}

	distinct := map[[2]float64]bool{}
	for _, p := range out {
		distinct[p] = true
	}
	if len(distinct) < 3 {
		return nil, fmt.Errorf("%d points", len(distinct))
	}
	return out, nil
}

func pair(s string) ([2]float64, error) {
	f := strings.Split(s, ",")
	if len(f) != 2 {
		return [2]float64{}, fmt.Errorf("%q is no lat,lon", clip(s))
	}
	lat, err1 := ingest.ParseDecimal(f[0])
	lon, err2 := ingest.ParseDecimal(f[1])
	if err1 != nil || err2 != nil || math.Abs(lat) > 90 || math.Abs(lon) > 360 {
		return [2]float64{}, fmt.Errorf("%q is no lat,lon", clip(s))
	}
	return [2]float64{lat, lon}, nil
}

// circle reads "lat,lon radius" in km; radius 0 means a point.
func circle(s string) ([3]float64, error) {
	f := strings.Fields(s)
	if len(f) != 2 {
		return [3]float64{}, fmt.Errorf("%q is no lat,lon radius", clip(s))
	}
	p, err := pair(f[0])
	if err != nil {
		return [3]float64{}, err
	}
	r, err := ingest.ParseDecimal(f[1])
	if err != nil || r < 0 {
		return [3]float64{}, fmt.Errorf("radius %q", clip(f[1]))
	}
	if r == 0 {
		r = pointRadius
	}
	return [3]float64{p[0], p[1], r}, nil
}
