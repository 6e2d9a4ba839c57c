package main

import (
	"math"

	"example.org/coldseam"
)

// rigJSON is the answer of `rig --json`. Null means: there is none.
type rigJSON struct {
	Spot         string  `json:"spot,omitempty"`
	Day          string  `json:"day,omitempty"`
	DepthM       float64 `json:"depth_m"`
	SurfaceMS    float64 `json:"surface_ms"`
	WaterC       float64 `json:"water_c"`
	Body         string  `json:"body"`
	Line         string  `json:"line"`
	Metal        string  `json:"metal"`
	Presentation string  `json:"presentation"`

	MinOz    *float64 `json:"min_oz"`
	SizeOz   *float64 `json:"size_oz"`
	AngleDeg *float64 `json:"surface_angle_deg"` // of size_oz, as are the next four
	BowPct   *float64 `json:"bow_pct"`
	SlackM   *float64 `json:"slack_m"`
	LineOutM *float64 `json:"line_out_m"`
	SinkS    *float64 `json:"sink_s"`

	TieOz        *float64           `json:"tie_oz"`
	PackOz       *float64           `json:"pack_oz"`
	NextOz       *float64           `json:"next_oz"`
	Holds        map[string]float64 `json:"holds"`
	Withheld     *string            `json:"withheld_reason"`
	WithheldText string             `json:"withheld_text,omitempty"`
	Calibrated   bool               `json:"calibrated"`
	Logs         int                `json:"logs"`
	Warnings     []rigWarning       `json:"warnings"`
	LineWords    string             `json:"line_words,omitempty"`
	CostWords    string             `json:"cost_words,omitempty"`
	Leader       string             `json:"leader,omitempty"`
	Dunes        string             `json:"dunes,omitempty"`
	Critical     []rigCritical      `json:"critical"`
}

type rigWarning struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// rigCritical is the flow at which a size stops holding; beyond: it still
// holds there, the end of the measured range.
type rigCritical struct {
	Size   string  `json:"size"`
	Oz     float64 `json:"oz"`
	M3S    float64 `json:"m3s"`
	Beyond bool    `json:"beyond,omitempty"`
}

// ozOrNil points at v, nil when it is not above zero.
func ozOrNil(v float64) *float64 {
	if v > 0 {
		return &v
	}
	return nil
}

func (r rigReport) json() rigJSON {
	j := r.j
	out := rigJSON{
		Spot:         r.title,
		DepthM:       r.st.DepthM,
		SurfaceMS:    r.st.SurfaceMS,
		WaterC:       r.tempC,
		Body:         r.rig.Body.Name,
		Line:         r.rig.Line.Name,
		Metal:        r.rig.Metal.Name,
		Presentation: r.rig.Pres.Name,
		MinOz:        r.minOz,
		SizeOz:       r.sizeOz,
		TieOz:        ozOrNil(j.TieOz),
		PackOz:       ozOrNil(j.PackOz),
		NextOz:       ozOrNil(j.NextOz),
		Holds:        map[string]float64{},
		WithheldText: r.words(j.Withheld),
		Calibrated:   j.Calibrated,
		Logs:         j.Logs,
		Warnings:     []rigWarning{},
		LineWords:    r.words(j.LineLies),
		CostWords:    r.words(j.Costs...),
		Leader:       r.words(j.Leader),
		Dunes:        r.words(j.Dunes),
		Critical:     []rigCritical{},
	}
	if !r.day.IsZero() {
		out.Day = r.day.String()
	}

	if r.shape.OK {
		out.AngleDeg, out.BowPct, out.SlackM, out.LineOutM, out.SinkS = &r.shape.AngleDeg, &r.shape.BowPct,
			&r.shape.SlackM, &r.shape.LineOutM, &r.shape.SinkS
	}
	if j.Withheld.Code != "" {
		out.Withheld = &j.Withheld.Code
	}
	for _, h := range j.Holds {
		out.Holds[coldseam.OzName(h.Oz)] = math.Round(h.Holds*1e4) / 1e4
	}

	for _, w := range j.Warnings {
		out.Warnings = append(out.Warnings, rigWarning{w.Code, r.words(w)})
	}
	for _, c := range j.CriticalM3S {
		out.Critical = append(out.Critical, rigCritical{coldseam.OzName(c.Oz), c.Oz, c.M3S, c.Beyond})
	}
	return out
}
