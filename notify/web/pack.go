package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"strconv"
	"strings"
)

// packed is the least size that is worth compressing, in bytes.
const packed = 1 << 10

// pack answers with what a phone at the ramp needs least of: nothing when the
// reader has the page already, and compressed text otherwise. Pages are small
// and rendered in memory, so the whole answer is held before it is sent.
//
// Compression is safe here although pages hold signed links: nothing that
// another site sends is ever reflected beside them.
func pack(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		hold := &held{header: w.Header(), code: http.StatusOK}
		next.ServeHTTP(hold, r)
		h, body := w.Header(), hold.body.Bytes()
		if hold.code == http.StatusOK && (r.Method == http.MethodGet || r.Method == http.MethodHead) &&
			!strings.Contains(h.Get("Cache-Control"), "no-store") {
			sum := sha256.Sum256(body)
			tag := `W/"` + hex.EncodeToString(sum[:9]) + `"`
			h.Set("ETag", tag)
			if strings.Contains(r.Header.Get("If-None-Match"), tag) {
				h.Del("Content-Type")
				w.WriteHeader(http.StatusNotModified)
				return
			}
		}

		if strings.HasPrefix(h.Get("Content-Type"), "text/") {
			h.Add("Vary", "Accept-Encoding")
			if len(body) >= packed && acceptsGzip(r.Header.Get("Accept-Encoding")) {
				h.Set("Content-Encoding", "gzip")
				body = squeeze(body)
			}
		}

		h.Set("Content-Length", strconv.Itoa(len(body)))
		w.WriteHeader(hold.code)
		if r.Method != http.MethodHead {
			_, _ = w.Write(body) // the reader may be gone; nothing is left to do
		}
	})
}

func acceptsGzip(header string) bool {
	for _, part := range strings.Split(header, ",") {
		name, q, _ := strings.Cut(strings.TrimSpace(part), ";")
		if strings.EqualFold(strings.TrimSpace(name), "gzip") {
			q = strings.ReplaceAll(q, " ", "")
			return q != "q=0" && q != "q=0.0" && q != "q=0.00" && q != "q=0.000"
		}
	}
	return false
}

func squeeze(body []byte) []byte {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	_, err := z.Write(body)
	if cerr := z.Close(); err != nil || cerr != nil {
		panic("gzip to memory: impossible") // a bytes.Buffer does not fail
	}
	return out.Bytes()
}

// held is a response kept in memory.
type held struct {
	header http.Header
	code   int
	wrote  bool
	body   bytes.Buffer
}

func (h *held) Header() http.Header { return h.header }

func (h *held) WriteHeader(code int) {
	if !h.wrote {
		h.code, h.wrote = code, true
	}
}

func (h *held) Write(b []byte) (int, error) {
	h.wrote = true
	return h.body.Write(b)
}
