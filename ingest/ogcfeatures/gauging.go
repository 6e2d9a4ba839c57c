package ogcfeatures

import (
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// visit is one visit of a hydrographer: stage and discharge come as two field
// measurements, width, area and velocity as channel measurements.
type visit struct {
	g            coldseam.Gauging
	hasQ         bool
	q, area, wid float64
	nArea, nWid  int
	channels     int
}

func (d *doc) visit(f feature) (*visit, bool) {
	site := d.get(f, fSite)
	st, err := d.times.Parse(d.get(f, fTime), site)
	if err != nil || site == "" {
		d.rows.Skip("field visit", ingest.CodeStation, "no site or no time")
		return nil, false
	}

	id := text(f.Properties["field_visit_id"])
	if id == "" {
		id = site + "/" + st.At.Format(time.RFC3339)
	}
	v, ok := d.visits[id]
	if !ok {
		v = &visit{g: coldseam.Gauging{Site: d.p.SiteID(site), At: st.At}}
		d.visits[id] = v
		d.order = append(d.order, id)
	}

	d.note(f, site, false)
	return v, true
}

// field reads stage or discharge of a visit. The time of the discharge stands
// for the visit.
func (d *doc) field(f feature) {
	param, ok := d.p.Parameter(d.get(f, fParam), parameters)
	if !ok || param != coldseam.Discharge && param != coldseam.Stage {
		d.rows.Skip("field measurement of "+d.get(f, fParam), ingest.CodeParameter, "not read")
		return
	}

	x, ok := d.quantity(param, d.get(f, fValue), d.get(f, fUnit))
	if !ok {
		return
	}
	v, ok := d.visit(f)
	if !ok {
		return
	}
	flags, _ := d.p.Quality("", append(texts(d.m.get(f.Properties, fQualifier)),
		texts(f.Properties["control_condition"])...))
	v.g.Ice = v.g.Ice || flags&coldseam.Ice != 0

	if param == coldseam.Stage {
		v.g.StageM = &x
		return
	}

	if st, err := d.times.Parse(d.get(f, fTime), d.get(f, fSite)); err == nil {
		v.g.At = st.At
	}
	v.g.DischargeM3S, v.hasQ = x, true
	if q := text(f.Properties["measurement_rated"]); q != "" {
		v.g.Quality = q
	}
	if m := text(f.Properties["observing_procedure"]); m != "" && v.g.Method == "" {
		v.g.Method = m
	}
}

// channel reads one channel of a measured section; a visit may measure several
// channels, whose discharges, areas and widths add up.
func (d *doc) channel(f feature) {
	num := func(p coldseam.Parameter, name string) (float64, bool) {
		raw := text(f.Properties[name])
		if raw == "" {
			return 0, false
		}
		return d.quantity(p, raw, text(f.Properties[name+"_unit"]))
	}
	q, ok := num(coldseam.Discharge, "channel_flow")
	if !ok {
		d.noFlow++
		return
	}

	v, ok := d.visit(f)
	if !ok {
		return
	}
	v.q += q
	v.channels++
	if w, ok := num(coldseam.Stage, "channel_width"); ok {
		v.wid += w
		v.nWid++
	}

	if a, ok := d.area(text(f.Properties["channel_area"]), text(f.Properties["channel_area_unit"])); ok {
		v.area += a
		v.nArea++
	}

	if vel, ok := num(coldseam.Velocity, "channel_velocity"); ok && v.channels == 1 {
		v.g.MeanVelMS = &vel
	} else if v.channels > 1 {
		v.g.MeanVelMS = nil
	}

	if m := text(f.Properties["measurement_type"]); m != "" {
		v.g.Method = m
		flags, _ := d.p.Quality("", []string{m}) // "Ice" stands where others write "Wading"
		v.g.Ice = v.g.Ice || flags&coldseam.Ice != 0
	}
}

func (d *doc) quantity(p coldseam.Parameter, raw, unit string) (float64, bool) {
	x, missing, err := d.p.Value(raw)
	if err != nil || missing {
		d.rows.Skip("field measurement", ingest.CodeValue, "no value")
		return 0, false
	}
	c, _, err := d.p.Unit(p, unit)
	if err != nil {
		d.rows.Skip("field measurement", ingest.CodeOf(err), err.Error())
		return 0, false
	}
	return c.Apply(x), true
}

func (d *doc) area(raw, unit string) (float64, bool) {
	x, err := ingest.ParseDecimal(raw)
	if err != nil {
		return 0, false
	}
	switch unit {
	case "ft^2", "ft2", "ft²":
		return x * coldseam.MetrePerFoot * coldseam.MetrePerFoot, true
	case "m^2", "m2", "m²":
		return x, true
	}
	d.rows.Skip("channel area", ingest.CodeUnit, "unit "+unit+" is unknown")
	return 0, false
}

// gaugings lists the visits that measured a discharge, in order of appearance.
// Width and area are given only when every channel has them.
func (d *doc) gaugings() []coldseam.Gauging {
	var out []coldseam.Gauging

	for _, id := range d.order {
		v := d.visits[id]
		if v.channels > 0 && !v.hasQ {
			v.g.DischargeM3S, v.hasQ = v.q, true
		}
		if !v.hasQ {
			d.noFlow++
			continue
		}

		if v.channels > 0 && v.nWid == v.channels {
			v.g.WidthM = &v.wid
		}
		if v.channels > 0 && v.nArea == v.channels {
			v.g.AreaM2 = &v.area
			if v.g.MeanVelMS == nil && v.area > 0 {
				vel := v.q / v.area
				v.g.MeanVelMS = &vel
			}
		}

		out = append(out, v.g)
	}

	return out
}
