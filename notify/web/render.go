package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"sync"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

//go:embed templates/*.html look.css static
var files embed.FS

// pages are the parsed templates by name, each with the frame.
type pages map[string]*template.Template

// parsePages panics on a template that does not parse: a slip that no test run
// survives.
func parsePages() pages {
	out := pages{}
	names, err := fs.Glob(files, "templates/*.html")
	if err != nil {
		panic(err)
	}
	for _, n := range names {
		name := strings.TrimSuffix(strings.TrimPrefix(n, "templates/"), ".html")
		if name == "frame" {
			continue
		}
		t := template.New("frame").Option("missingkey=error").Funcs(funcs())
		out[name] = template.Must(t.ParseFS(files, "templates/frame.html", n))
	}
	return out
}

func funcs() template.FuncMap {
	return template.FuncMap{
		"clean": notify.Clean,
		"staff": staffSVG,
		"tie":   notify.Typeset,
		"seal":  sealWords,
	}
}

// frame is what every page has.
type frame struct {
	Title   string
	Club    string
	Style   string
	Home    string
	Public  string // host and path of the public URL, for print
	Caution caution
	Sources []coldseam.Attribution
	NoIndex bool
	Bare    bool // a form reached by a signed link: no links elsewhere
	Body    any

	Script, Manifest, Icon string // of the trip card alone
}

// caution is the block at the foot of every page.
type caution struct {
	Water, Season, After, None string
	Rules                      []notify.RuleLink
}

// asset is one embedded file under a name that changes with its content.
type asset struct {
	path, mime string
	body       []byte
}

func readAsset(name string) asset {
	mime := map[string]string{".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}[path.Ext(name)]
	b, err := files.ReadFile(name)
	if err != nil {
		panic(err)
	}
	sum := sha256.Sum256(b)
	base := strings.TrimSuffix(path.Base(name), path.Ext(name))
	return asset{path: "/" + base + "-" + hex.EncodeToString(sum[:6]) + path.Ext(name), mime: mime + "; charset=utf-8",
		body: b}
}

func (a asset) serve(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", a.mime)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, err := w.Write(a.body)
	return err
}

// show renders a page into memory first: a template that fails halfway never
// reaches the reader.
func (s *site) show(w http.ResponseWriter, code int, name string, f frame) error {
	out, err := s.render(name, f)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	if f.NoIndex {
		w.Header().Set("X-Robots-Tag", "noindex")
		w.Header().Set("Cache-Control", "no-store")
	}
	w.WriteHeader(code)
	_, err = w.Write(out)
	return err
}

func (s *site) render(name string, f frame) ([]byte, error) {
	f.Club, f.Style, f.Home = s.Club, s.style.path, s.Links.Board()
	f.Public = strings.TrimPrefix(strings.TrimPrefix(s.Links.PublicURL, "https://"), "http://")
	if f.Caution.Water == "" {
		f.Caution.fill()
	}
	var out bytes.Buffer
	t := s.tmpl[name]
	if t == nil {
		return nil, fmt.Errorf("no template %q", name)
	}
	if err := t.Execute(&out, f); err != nil {
		return nil, fmt.Errorf("page %s: %w", name, err)
	}
	return out.Bytes(), nil
}

func (c *caution) fill() {
	c.Water, c.Season, c.After = notify.CautionParts()
	c.None = notify.NoRules
}

// foot fills caution and attributions from the briefs that the page, or the
// club, rests on.
func foot(f frame, briefs []coldseam.Brief) frame {
	f.Caution.fill()
	f.Caution.Rules = notify.RuleLinks(briefs)
	seen := map[coldseam.Attribution]bool{}
	for _, b := range briefs {
		for _, a := range b.Sources {
			a = coldseam.Attribution{
				Provider: a.Provider,
				Name:     notify.Clean(a.Name),
				Licence:  notify.Clean(a.Licence),
				Text:     notify.Clean(a.Text),
				Link:     a.Link,
			}
			if !notify.WebLink(a.Link) {
				a.Link = ""
			}
			if !seen[a] {
				seen[a] = true
				f.Sources = append(f.Sources, a)
			}
		}
	}
	return f
}

// footFor is how long the foot of the forms is kept: agencies and rules pages
// change by the season.
const footFor = time.Minute

// footCache keeps the foot over the whole board.
type footCache struct {
	mu   sync.Mutex
	at   time.Time
	foot frame
}

// showBare shows a page reached by a signed link: not for search engines, without
// links elsewhere.
func (s *site) showBare(w http.ResponseWriter, r *http.Request, code int, name, title string, body any) error {
	return s.show(w, code, name, s.clubFoot(r, frame{Title: title, NoIndex: true, Bare: true, Body: body}))
}

// clubFoot is foot over the whole board. Without the store it is the last one
// known, or the caution alone.
func (s *site) clubFoot(r *http.Request, f frame) frame {
	now := s.Now()
	s.foot.mu.Lock()
	old, fresh := s.foot.foot, !s.foot.at.IsZero() && now.Sub(s.foot.at) < footFor && !now.Before(s.foot.at)
	s.foot.mu.Unlock()
	if !fresh {
		if briefs, err := s.Store.Board(r.Context()); err == nil {
			old = foot(frame{}, briefs)
			s.foot.mu.Lock()
			s.foot.at, s.foot.foot = now, old
			s.foot.mu.Unlock()
		}
	}
	f.Caution, f.Sources = old.Caution, old.Sources
	return f
}

// message is a page of one sentence.
func (s *site) message(w http.ResponseWriter, _ *http.Request, code int, title, text string) {
	s.foot.mu.Lock()
	last := s.foot.foot
	s.foot.mu.Unlock()
	err := s.show(w, code, "message", frame{
		Title:   title,
		NoIndex: true,
		Body:    text,
		Caution: last.Caution,
		Sources: last.Sources,
	})
	if err != nil {
		http.Error(w, title, code)
	}
}
