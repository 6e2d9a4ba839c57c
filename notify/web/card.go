package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// cardPage is the trip card as it is served: what holds on any day. The word, the
// weights and the mark come as data and go when their time is over.
type cardPage struct {
	River, Reach, Zone   string
	Data, Worker         string
	Leave, Rising        string
	Metric               bool
	Unit                 string
	Hazards, Emergency   []string
	Siren, Sun           string
	Rules                []string
	Cold                 []notify.ColdLine
	Says                 []option
	Spots, Weights, Held []option
}

// cardJSON is what the morning says, with times in ms since 1970.
type cardJSON struct {
	Sent, Issued, Until int64
	Day, For            string
	Word, Class, Head   string
	Facts               [][2]string
	Weights             []notify.CardWeight
	NoWeight, Leave     string
	Table               json.RawMessage `json:",omitempty"`
}

// cardOf finds the reach of a card and its word of today.
func (s *site) cardOf(r *http.Request) (coldseam.Reach, coldseam.Brief, error) {
	id := coldseam.ReachID(r.PathValue("reach"))
	b, err := s.brief(r, id)
	if err != nil {
		return coldseam.Reach{}, b, err
	}
	rs, err := s.Store.Reaches(r.Context())
	if err != nil {
		return coldseam.Reach{}, b, err
	}
	for _, reach := range rs {
		if reach.ID == id {
			b, _ = today(b, s.Now())
			return reach, b, nil
		}
	}
	return coldseam.Reach{}, b, fmt.Errorf("reach: %w", coldseam.ErrNotFound)
}

func (s *site) card(w http.ResponseWriter, r *http.Request) error {
	reach, b, err := s.cardOf(r)
	if err != nil {
		return err
	}

	units, at := unitsOf(r), riverPath(reach.ID)
	words := notify.WordsFor(units, reach.Zone)
	p := cardPage{
		River:   notify.Clean(b.River),
		Reach:   notify.Clean(b.ReachName),
		Zone:    reach.Zone,
		Data:    at + "/card.json",
		Worker:  at + "/sw.js",
		Leave:   notify.CardLeave,
		Rising:  notify.CardRising,
		Metric:  words.Metric(),
		Unit:    "ft",
		Siren:   notify.Clean(reach.Siren),
		Cold:    notify.ColdLines,
		Says:    says(),
		Weights: sizes(),
		Held:    heldOptions(),
	}
	if p.Metric {
		p.Unit, p.Data = "m", p.Data+"?units=metric"
	}
	for _, sec := range notify.PageOf(b, coldseam.Preferences{Units: units}).Below {
		switch sec.Title {
		case "Hazards of the reach":
			p.Hazards = sec.Items
		case "Rules":
			p.Rules = sec.Items
		}
	}

	for _, e := range reach.Emergency {
		text := notify.Clean(e.What)
		if e.Lat != 0 || e.Lon != 0 {
			text += fmt.Sprintf(": %.5f, %.5f", e.Lat, e.Lon)
		}
		p.Emergency = append(p.Emergency, text)
	}
	if !b.DaylightFrom.IsZero() {
		p.Sun = fmt.Sprintf("Daylight on %s: %s.", longDay(b.Day), words.Span(b.DaylightFrom, b.DaylightTo))
	}
	for _, x := range reach.Spots {
		p.Spots = append(p.Spots, option{Value: x.ID, Label: notify.Clean(x.Name)})
	}

	w.Header().Set("Content-Security-Policy", cardPolicy)
	return s.show(w, http.StatusOK, "card", foot(frame{
		Title:    p.River + ", trip card",
		Bare:     true,
		Body:     p,
		Script:   s.script.path,
		Manifest: at + "/card.webmanifest",
		Icon:     s.icon.path,
	}, []coldseam.Brief{b}))
}

// cardData is the word of this moment. It is never stored on the way: the time
// in it says since when nothing can have reached the card.
func (s *site) cardData(w http.ResponseWriter, r *http.Request) error {
	reach, b, err := s.cardOf(r)
	if err != nil {
		return err
	}
	c := notify.CardOf(b, reach, coldseam.Preferences{Units: unitsOf(r)})
	out := cardJSON{
		Sent:     s.Now().UnixMilli(),
		Issued:   c.Issued.UnixMilli(),
		Until:    c.Until.UnixMilli(),
		Day:      b.Day.String(),
		For:      longDay(b.Day),
		Word:     c.Word,
		Class:    classOf(c.Class),
		Head:     c.Head,
		Facts:    c.Facts,
		Weights:  c.Weights,
		NoWeight: c.NoWeight,
		Leave:    c.Leave,
	}
	if said, err := s.Store.BankWords(r.Context(), b.Reach); err == nil {
		for _, x := range notify.WordsFor(unitsOf(r), b.Zone).FromBank(said, c.Class, time.Time{}) {
			out.Facts = append(out.Facts, [2]string{"Bank", x})
		}
	}
	if len(c.Weights) > 0 {
		if t, err := s.Store.RigTable(r.Context(), b); err == nil { // the word is worth more
			out.Table = t
		} else {
			s.Log.Error("table of the trip card", "reach", string(b.Reach), "err", err)
		}
	}
	return sendJSON(w, "application/json", out)
}

// cardManifest lets a phone keep the card beside its other programs.
func (s *site) cardManifest(w http.ResponseWriter, r *http.Request) error {
	reach, _, err := s.cardOf(r)
	if err != nil {
		return err
	}
	at := riverPath(reach.ID) + "/card"
	return sendJSON(w, "application/manifest+json", map[string]any{
		"name": notify.Clean(reach.River) + ", trip card", "short_name": notify.Clean(reach.River), "id": at,
		"start_url": at, "scope": at, "display": "standalone", "background_color": "#F4F3EE", "theme_color": "#17222A",
		"icons": []map[string]string{{"src": s.icon.path, "sizes": "any", "type": "image/svg+xml"}},
	})
}

func sendJSON(w http.ResponseWriter, mime string, v any) error {
	w.Header().Set("Content-Type", mime)
	w.Header().Set("Cache-Control", "no-store")
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

func (s *site) cardWorker(w http.ResponseWriter, r *http.Request) error {
	if _, _, err := s.cardOf(r); err != nil {
		return err
	}
	w.Header().Set("Content-Type", s.worker.mime)
	w.Header().Set("Content-Security-Policy", cardPolicy) // a worker fetches under its own
	_, err := w.Write(s.worker.body)
	return err
}
