package ingest

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"github.com/go-resty/resty/v2"
)

// get makes one request and parses the answer.
func (f *Fetcher) get(ctx context.Context, p Profile, a address, body string, res *Result) (page, error) {
	key, err := p.key()
	if err != nil {
		return page{}, err
	}
	addr, clean := a.url, cleanURL(a.log, key)
	etag, mod, notBefore, err := f.Sink.NextFetch(ctx, p.Name, clean)
	if err != nil {
		return page{}, fmt.Errorf("next fetch of %s: %w", clean, err)
	}

	if res.force {
		notBefore = time.Time{} // a store may mix the server's word with pauses after failures
	}
	a.conditional = a.conditional && p.Method == http.MethodGet
	if !a.conditional {
		etag, mod = "", ""
	}
	c := f.client(p)
	if u := c.host.waitUntil(); u.After(notBefore) {
		notBefore = u
	}

	if u := c.host.spareUntil(); f.Now().Before(u) && res.Endpoint != "" && res.Endpoint != EndpointLatest {
		res.NotBefore = u
		return page{}, fmt.Errorf(
			"%s: less than %.0f %% of the service's requests are left, kept for the newest values until %s: %w",
			clean, 100*spareShare, u.UTC().Format(time.RFC3339), coldseam.ErrUnavailable)
	}

	asked := func() error {
		if !f.Now().Before(notBefore) {
			return nil
		}
		res.NotBefore = notBefore
		return fmt.Errorf("%s: the server asked to wait until %s: %w", clean, notBefore.UTC().Format(time.RFC3339),
			coldseam.ErrUnavailable)
	}
	if err := asked(); err != nil {
		return page{}, err
	}

	leave, err := c.enter(ctx)
	if err != nil {
		return page{}, err
	}
	defer leave()

	notBefore = c.host.waitUntil() // said to another request while this one stood in line
	if err := asked(); err != nil {
		return page{}, err
	}
	r := c.r.R().SetContext(ctx)
	for k, v := range p.Headers {
		r.SetHeader(k, v)
	}

	if key != "" {
		r.SetHeader(p.KeyHeader, key)
	}
	if etag != "" {
		r.SetHeader("If-None-Match", etag)
	}
	if mod != "" {
		r.SetHeader("If-Modified-Since", mod)
	}

	if p.Method == http.MethodPost {
		r.SetBody(body)
		if r.Header.Get("Content-Type") == "" {
			r.SetHeader("Content-Type", "application/soap+xml; charset=utf-8")
		}
	}

	began := f.Now()
	resp, err := r.Execute(p.Method, addr)
	tries, berr := c.spent(ctx, r.Attempt)
	f.warn("request budget", p.Name, berr)
	res.Requests += tries
	raw := coldseam.RawFetch{Profile: p.Name, URL: clean, At: f.Now().UTC(), ETag: etag, LastMod: mod}
	raw.Dur = raw.At.Sub(began)
	if err != nil {
		return page{}, f.failFetch(ctx, raw, fmt.Errorf("%s: %s: %w", clean, redact(err, addr, clean, key), classOf(err)))
	}

	return f.answer(ctx, p, c, a, resp, raw, res)
}

func (f *Fetcher) answer(ctx context.Context, p Profile, c *client, a address, resp *resty.Response,
	raw coldseam.RawFetch, res *Result) (page, error) {
	status, h, body := resp.StatusCode(), resp.Header(), resp.Body()
	raw.Status, raw.Bytes = status, int64(len(body))
	res.Bytes += raw.Bytes
	if f.Heard != nil {
		f.Heard(raw.URL, h)
	}
	f.clock(p, h, raw, res)
	if n := remaining(h); n >= 0 {
		res.Remaining = n
		if limit, err := strconv.Atoi(cmp.Or(h.Get("X-Ratelimit-Limit"), h.Get("Ratelimit-Limit"))); err == nil {
			c.host.counted(n, limit, raw.At)
		}
	}

	if d := c.host.backOff(status, h, raw.At, p); d > 0 {
		raw.NotBefore = raw.At.Add(d)
		res.NotBefore = raw.NotBefore
		f.warn("request budget", p.Name, c.hold(ctx, raw.NotBefore, d))
	}

	switch {
	case status == http.StatusNotModified: // a 304 need not repeat the validators
		raw.ETag, raw.LastMod = cmp.Or(h.Get("ETag"), raw.ETag), cmp.Or(h.Get("Last-Modified"), raw.LastMod)
		return page{raw: raw, notModified: true}, nil
	case status == http.StatusNoContent && p.Format == FormatCAP: // it does not say that there are no warnings
		return page{}, f.failFetch(ctx, raw, fmt.Errorf("%s: HTTP 204, an answer without a list of warnings: %w", raw.URL,
			coldseam.ErrInvalid))
	case status == http.StatusNoContent: // an EDR service says so that it has no data
		return page{raw: raw}, nil
	case status != http.StatusOK && !slices.Contains(p.AcceptStatus, status):
		raw.Payload = body[:min(len(body), 64<<10)]
		return page{}, f.failFetch(ctx, raw, fmt.Errorf("%s: HTTP %d, %s: %w", raw.URL, status, p.refusalText(body),
			statusClass(status)))
	}

	sum := sha256.Sum256(body)
	raw.SHA256 = hex.EncodeToString(sum[:])
	raw.ETag, raw.LastMod = h.Get("ETag"), h.Get("Last-Modified")
	if !a.conditional {
		raw.ETag, raw.LastMod = "", ""
	}

	raw.Payload = body
	b, err := f.Parse(bytes.NewReader(body), p)
	if err != nil {
		raw.Payload = body[:min(len(body), 64<<10)]
		if quiet := p.WithoutKey(err.Error()); quiet != err.Error() {
			err = fmt.Errorf("%s: %w", quiet, coldseam.ErrInvalid)
		}
		return page{}, f.failFetch(ctx, raw, fmt.Errorf("%s: %w", raw.URL, err))
	}

	raw.Attributes = SchemaOf(body).Pack()
	raw.Rows = b.Rows()
	return page{raw: raw, batch: b}, nil
}

// failFetch records a fetch that brought nothing and returns its error. No
// validators are kept, so that the next try asks for the whole document.
func (f *Fetcher) failFetch(ctx context.Context, raw coldseam.RawFetch, err error) error {
	raw.Err = oneLine(err)
	raw.ETag, raw.LastMod, raw.Rows = "", "", 0
	if _, serr := f.Sink.SaveRaw(ctx, raw); serr != nil {
		return errors.Join(err, fmt.Errorf("save raw fetch: %w", serr))
	}
	return err
}

// clock compares the server's clock with ours. The Date header has whole
// seconds; an answer out of a cache says how old it is.
func (f *Fetcher) clock(p Profile, h http.Header, raw coldseam.RawFetch, res *Result) {
	t, err := http.ParseTime(h.Get("Date"))
	if err != nil || h.Get("Age") != "" {
		return
	}
	res.ClockSkew = t.Sub(raw.At.Add(-raw.Dur / 2)).Truncate(time.Second)
	if d := res.ClockSkew.Abs(); d > skewWarn && f.Log != nil {
		f.Log.Warn("clock differs from the server's", "feed", p.Name, "dur", res.ClockSkew)
	}
}

func classOf(err error) error {
	switch {
	case errors.Is(err, coldseam.ErrRejected), errors.Is(err, errPrivate):
		return coldseam.ErrRejected
	case errors.Is(err, context.Canceled):
		return context.Canceled
	}
	return coldseam.ErrUnavailable
}

// statusClass: 4xx but 408, 425 and 429 will not heal by themselves.
func statusClass(status int) error {
	if status >= 400 && status < 500 && status != 408 && status != 425 && status != 429 {
		return coldseam.ErrRejected
	}
	return coldseam.ErrUnavailable
}

// redact takes the address and the key out of a library's error text.
func redact(err error, addr, clean, key string) string {
	s := err.Error()
	if key != "" {
		s = strings.ReplaceAll(s, key, "***")
	}
	s = strings.ReplaceAll(s, strconv.Quote(addr), "")
	return strings.ReplaceAll(s, addr, clean)
}

// oneLine is an error as the log of fetches keeps it.
func oneLine(err error) string {
	s := strings.ReplaceAll(err.Error(), "\n", "; ")
	if len(s) > 500 {
		s = strings.ToValidUTF8(s[:500], "") + "..."
	}
	return s
}

// refusalText is what the body of a refusal says, without the key.
func (p Profile) refusalText(body []byte) string {
	text := ServiceError(body)
	if text == "" {
		text = fmt.Sprintf("begins %q", head(body))
	}
	return p.WithoutKey(text)
}

// WithoutKey is a text without the key, which a service may echo.
func (p Profile) WithoutKey(text string) string {
	if key, err := p.key(); err == nil && key != "" {
		return strings.ReplaceAll(text, key, "***")
	}
	return text
}

// ServiceError is what a JSON body says that stands in the place of data, "" for
// other bodies. Shapes [source: recorded answers]: {code, description} of a feature
// service and {error: {code, message}} of the gateway before it, {code, message},
// and {title, status} of RFC 7807.
func ServiceError(body []byte) string {
	var b map[string]any
	if len(body) > 64<<10 || json.Unmarshal(body, &b) != nil {
		return ""
	}
	if inner, ok := b["error"].(map[string]any); ok {
		b = inner
	}
	first := func(keys ...string) string {
		for _, k := range keys {
			switch v := b[k].(type) {
			case string:
				return v
			case float64:
				return strconv.FormatFloat(v, 'f', -1, 64)
			}
		}
		return ""
	}

	code, text := first("code", "status"), first("description", "message", "detail", "title", "error")
	if code == "" || text == "" {
		return ""
	}
	words := fmt.Sprintf("%s: %q", clip(code), clipTo(text, 300))
	if strings.HasPrefix(code, "API_KEY_") {
		words = "key refused, " + words
	}
	return words
}

func head(b []byte) string {
	b = bytes.TrimSpace(b)
	return strings.ToValidUTF8(string(b[:min(len(b), 80)]), "?")
}
