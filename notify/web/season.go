package web

import (
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"strconv"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// Season is one season of the club as its yearbook tells it.
type Season struct {
	Year  int
	Years []int         // that there are
	Parts template.HTML // headings, drawings and tables, escaped
	Seal  string        // of the newest brief told; "" = none

	Replayed []string // what was told beside what a replay says; nil = nothing replayed
}

type seasonPage struct {
	Season
	Links []link
}

// season serves /season and /season/{year}.
func (s *site) season(w http.ResponseWriter, r *http.Request) error {
	year := 0
	if y := r.PathValue("year"); y != "" {
		n, err := strconv.Atoi(y)
		if err != nil || n < 1900 || n > 9999 {
			return fmt.Errorf("year: %w", coldseam.ErrNotFound)
		}
		year = n
	}

	x, err := s.Store.Season(r.Context(), year)
	if errors.Is(err, coldseam.ErrNotFound) && year == 0 {
		return s.show(w, http.StatusOK, "done", s.clubFoot(r, frame{Title: "No season on record yet", Body: done{
			Text:  []string{"The book begins with the first brief and the first logged trip. Zeros count."},
			Links: []link{{notify.PathBoard, "Today's rivers"}}}}))
	}
	if err != nil {
		return err
	}

	p := seasonPage{Season: x}
	for _, y := range x.Years {
		if y != x.Year {
			p.Links = append(p.Links, link{"/season/" + strconv.Itoa(y), "Season " + strconv.Itoa(y)})
		}
	}
	return s.show(w, http.StatusOK, "season", s.clubFoot(r, frame{Title: "Season " + strconv.Itoa(x.Year), Body: p}))
}

// sealWords say what the seal is good for.
func sealWords(seal string) string {
	return "Seal of all that was told so far: " + notify.ShortSeal(notify.Clean(seal)) + ". The mails carry it too; coldseam verify holds the record against it."
}
