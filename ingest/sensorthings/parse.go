// Package sensorthings reads OGC SensorThings 1.1 answers, for the loggers of
// a club: lists of datastreams with expanded observations, single datastreams,
// things with datastreams, and plain pages of observations.
package sensorthings

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/url"
	"sort"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// Parse reads one page. The station is the id of the thing where the page
// names it, else the site that was asked for. The parameter is looked up by
// the datastream's id, name, observed property and description. An interval of
// phenomenon time is a period whose statistic is the profile's, by parameter
// or as a whole.
//
// Next is the top-level next link. A datastream whose observations go on
// elsewhere adds that address to Links, with what the later page leaves out as
// its fragment; give the fragment back in Profile.Context when that page is
// parsed. Observations without a phenomenon time refuse the page.
func Parse(r io.Reader, p ingest.Profile) (ingest.Batch, error) {
	body, err := ingest.ReadBody(r, p)
	if err != nil {
		return ingest.Batch{}, err
	}

	if err := ingest.Dense(body, entityBytes); err != nil {
		return ingest.Batch{}, fmt.Errorf("sensorthings: %w", err)
	}
	var doc entity
	if err := ingest.DecodeJSON(body, &doc); err != nil {
		return ingest.Batch{}, fmt.Errorf("sensorthings: %w", err)
	}

	d := newPage(p)
	if err := d.read(doc); err != nil {
		return ingest.Batch{}, fmt.Errorf("sensorthings: %w", err)
	}
	out, err := d.b.Batch(ingest.FormatSensorThings)
	out.Next, out.Links = doc.NextLink, d.links
	if out.Next != "" && d.usedContext {
		out.Next = strings.SplitN(out.Next, "#", 2)[0] + "#" + d.p.Context // the page after this leaves it out too
	}
	return out, err
}

// entityBytes is the least size of an entity [proposal]: an observation of
// nothing but a result and its time has 52.
const entityBytes = 45

// entity is any of the answers: a list, a thing, a datastream or an
// observation. Ids are text or numbers.
type entity struct {
	Value    *list           `json:"value"`
	NextLink string          `json:"@iot.nextLink"`
	ID       json.RawMessage `json:"@iot.id"`
	Name     string          `json:"name"`
	About    string          `json:"description"`
	Unit     *struct {
		Name       string `json:"name"`
		Symbol     string `json:"symbol"`
		Definition string `json:"definition"`
	} `json:"unitOfMeasurement"`
	Property *struct {
		Name       string `json:"name"`
		Definition string `json:"definition"`
	} `json:"ObservedProperty"`
	Thing        *entity `json:"Thing"`
	Datastream   *entity `json:"Datastream"`
	Datastreams  *list   `json:"Datastreams"`
	Observations *list   `json:"Observations"`
	ObsNext      string  `json:"Observations@iot.nextLink"`

	Phenomenon *string         `json:"phenomenonTime"`
	Result     json.RawMessage `json:"result"`
	Quality    json.RawMessage `json:"resultQuality"`
}

// list holds entities as they are written: an entity costs ten times its text,
// so each is decoded when its turn comes.
type list []json.RawMessage

func (l list) each(use func(entity) error) error {
	for _, raw := range l {
		var e entity
		if err := json.Unmarshal(raw, &e); err != nil {
			return ingest.JSONError(err)
		}
		if err := use(e); err != nil {
			return err
		}
	}
	return nil
}

func (e entity) id() string {
	var s string
	if json.Unmarshal(e.ID, &s) == nil {
		return s
	}
	return strings.TrimSpace(string(e.ID))
}

// isObservation: a result or a phenomenon time; datastreams have neither with
// a result beside it.
func (e entity) isObservation() bool {
	return len(e.Result) > 0 || e.Phenomenon != nil && e.Unit == nil && e.Observations == nil
}

func (e entity) isDatastream() bool { return e.Unit != nil || e.Observations != nil }

// stream is what is known of a datastream.
type stream struct {
	site, id, name, about, property, definition, unit string
}

type page struct {
	p     ingest.Profile
	b     *ingest.Builder
	times *ingest.Times
	links []string

	usedContext bool
}

// Quality words [proposal]; others warn, as everywhere.
var qualityWords = map[string]string{"good": "ok", "bad": "bad"}

func newPage(p ingest.Profile) *page {
	p = p.WithDefaults()
	q := maps.Clone(qualityWords)
	maps.Copy(q, p.Qualifiers)
	p.Qualifiers = q
	return &page{p: p, b: ingest.NewBuilder(p), times: ingest.NewTimes(p)}
}

func (d *page) read(doc entity) error {
	switch {
	case doc.Value != nil:
		return doc.Value.each(func(e entity) error { return d.entity(e, "") })
	case doc.isDatastream() || doc.Datastreams != nil || doc.isObservation():
		return d.entity(doc, "")
	}
	return fmt.Errorf("json without value, datastreams or observations: %w", coldseam.ErrInvalid)
}

// entity reads a thing, a datastream or an observation of a page.
func (d *page) entity(e entity, thing string) error {
	switch {
	case e.Datastreams != nil:
		return e.Datastreams.each(func(s entity) error { return d.entity(s, e.id()) })
	case e.isDatastream():
		s := d.stream(e, thing)
		if e.ObsNext != "" {
			d.links = append(d.links, strings.SplitN(e.ObsNext, "#", 2)[0]+"#"+s.encode())
		}
		if e.Observations == nil {
			return nil
		}
		return d.observations(e.Observations.each, s)
	case e.isObservation():
		s, err := d.bare(e)
		if err != nil {
			return err
		}
		return d.observations(func(use func(entity) error) error { return use(e) }, s)
	}

	d.b.Skip("entity "+clip(e.Name+" "+e.id()), ingest.CodeEncoding, "neither datastream nor observation")
	return nil
}

func (d *page) stream(e entity, thing string) stream {
	s := stream{site: thing, id: e.id(), name: e.Name, about: e.About}
	if e.Thing != nil {
		s.site = e.Thing.id()
	}
	if s.site == "" {
		s.site = d.p.RequestSite
	}
	if e.Property != nil {
		s.property, s.definition = e.Property.Name, e.Property.Definition
	}
	if u := e.Unit; u != nil {
		if s.unit = u.Symbol; strings.HasPrefix(u.Definition, "ucum:") {
			s.unit = u.Definition
		}
	}
	return s
}

// bare is the datastream of an observation on a page of observations: beside
// it, or from the page that led here.
func (d *page) bare(e entity) (stream, error) {
	if e.Datastream != nil {
		return d.stream(*e.Datastream, ""), nil
	}
	v, err := url.ParseQuery(d.p.Context)
	if err != nil || v.Get("datastream") == "" {
		return stream{}, fmt.Errorf("observations that do not name their datastream: %w", coldseam.ErrInvalid)
	}
	d.usedContext = true
	return stream{v.Get("site"), v.Get("datastream"), v.Get("name"), v.Get("about"), v.Get("property"),
		v.Get("definition"), v.Get("unit")}, nil
}

func (s stream) encode() string {
	v := url.Values{}
	for k, x := range map[string]string{"site": s.site, "datastream": s.id, "name": s.name, "about": s.about,
		"property": s.property, "definition": s.definition, "unit": s.unit} {
		if x != "" {
			v.Set(k, x)
		}
	}
	return v.Encode()
}

// names of parameters in English; a profile adds its own.
var names = map[string]coldseam.Parameter{
	"discharge": coldseam.Discharge, "streamflow": coldseam.Discharge, "stage": coldseam.Stage,
	"gage height": coldseam.Stage, "gauge height": coldseam.Stage, "water level": coldseam.Stage,
	"temperature, water": coldseam.WaterTemp, "water temperature": coldseam.WaterTemp, "water_temp": coldseam.WaterTemp,
	"turbidity":       coldseam.Turbidity,
	"air temperature": coldseam.AirTemp, "temperature, air": coldseam.AirTemp, "air_temp": coldseam.AirTemp,
}

func (d *page) parameter(s stream) (coldseam.Parameter, bool) {
	for _, c := range []string{s.id, s.name, s.property, s.definition, s.about} {
		if c == "" {
			continue
		}
		if p, ok := d.p.Parameter(c, names); ok {
			return p, true
		}
	}
	return "", false
}

func (d *page) observations(each func(func(entity) error) error, s stream) error {
	what := clip(strings.TrimSpace(s.site + " " + s.name + " " + s.id))
	param, ok := d.parameter(s)
	why, code := "", ""
	switch {
	case s.site == "":
		why, code = "names no station: ask for one site", ingest.CodeStation
	case !ok:
		why, code = fmt.Sprintf("parameter of datastream %q is not known", clip(s.about)), ingest.CodeParameter
	}

	err := each(func(e entity) error {
		if e.Phenomenon == nil || *e.Phenomenon == "" {
			return fmt.Errorf("%s: an observation without phenomenonTime (select it): %w", what, coldseam.ErrInvalid)
		}
		if why != "" {
			return nil
		}
		if err := d.observation(e, s, param); err != nil {
			d.b.Skip(what, ingest.CodeOf(err), strings.TrimSuffix(err.Error(), ": "+coldseam.ErrInvalid.Error()))
		}
		return nil
	})
	if err == nil && why != "" {
		d.b.Skip(what, code, why)
	}

	return err
}

func (d *page) observation(e entity, s stream, param coldseam.Parameter) error {
	raw, err := result(e.Result)
	if err != nil {
		return err
	}
	key := coldseam.SeriesKey{Site: d.p.SiteID(s.site), Param: param, Stat: coldseam.Instant, SeriesRef: s.id}
	begin, end, interval := strings.Cut(*e.Phenomenon, "/")
	stamp, err := d.times.Parse(begin, s.site)
	if err != nil {
		return err
	}

	if interval {
		from := stamp.At
		if stamp, err = d.times.Parse(end, s.site); err != nil {
			return err
		}
		if !from.Before(stamp.At) {
			return fmt.Errorf("interval %q ends before it begins: %w", clip(*e.Phenomenon), coldseam.ErrInvalid)
		}
		stat, period, err := d.p.Stat(param)
		if err != nil {
			return err
		}

		if stat == "" || stat == coldseam.Instant {
			return fmt.Errorf("an interval without a statistic: set statistics.%s in the profile: %w", param,
				coldseam.ErrInvalid)
		}
		if key.Stat, key.Period = stat, period; period == "" {
			key.Period = isoPeriod(stamp.At.Sub(from))
		}
	}

	d.b.Add(ingest.Row{Key: key, Name: s.name, Stamp: stamp, Raw: raw, Unit: s.unit, Qualifiers: d.quality(e.Quality)})
	return nil
}

// result as text: a number keeps its digits, null is no value.
func result(raw json.RawMessage) (string, error) {
	if len(raw) == 0 || string(raw) == "null" {
		return "", nil
	}
	var s string
	if json.Unmarshal(raw, &s) == nil {
		return s, nil
	}
	var n json.Number
	if json.Unmarshal(raw, &n) == nil {
		return n.String(), nil
	}
	return "", fmt.Errorf("a result that is no number: %w", coldseam.ErrInvalid)
}

// quality flattens resultQuality: a word, a list, or an object. In an object
// the member "quality" decides, and the others are kept beside it as text
// without a meaning of their own.
func (d *page) quality(raw json.RawMessage) []string {
	var v any
	if json.Unmarshal(raw, &v) != nil {
		return nil
	}
	var out []string
	var walk func(v any, silent string)

	walk = func(v any, silent string) {
		switch x := v.(type) {
		case string:
			if silent != "" {
				x = silent + " " + x
				d.p.Qualifiers[x] = "ok" // the builder shares this map
			}
			out = append(out, x)
		case float64:
			walk(fmt.Sprint(x), silent)
		case []any:
			for _, y := range x {
				walk(y, silent)
			}
		case map[string]any:
			_, led := x["quality"]
			keys := make([]string, 0, len(x))
			for k := range x {
				keys = append(keys, k)
			}
			sort.Strings(keys)

			for _, k := range keys {
				if led && k != "quality" {
					walk(x[k], k)
				} else {
					walk(x[k], silent)
				}
			}
		}
	}

	walk(v, "")
	return out
}

// isoPeriod of an interval, in its largest whole unit.
func isoPeriod(d time.Duration) string {
	for _, u := range []struct {
		of   time.Duration
		form string
	}{{24 * time.Hour, "P%dD"}, {time.Hour, "PT%dH"}, {time.Minute, "PT%dM"}} {
		if d%u.of == 0 {
			return fmt.Sprintf(u.form, d/u.of)
		}
	}
	return fmt.Sprintf("PT%gS", d.Seconds())
}

func clip(s string) string {
	if len(s) <= 80 {
		return s
	}
	return strings.ToValidUTF8(s[:80], "") + "..."
}
