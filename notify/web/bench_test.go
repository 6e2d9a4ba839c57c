package web

import (
	"fmt"
	"net/http/httptest"
	"testing"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
)

// BenchmarkPages renders what a club's morning asks for: the board of 50
// rivers and one river's page; bytes is what travels, compressed.
func BenchmarkPages(b *testing.B) {
	m := newMemory()
	m.briefs = nil
	for i := range 50 {
		br := brieftest.All()[i%5]
		br.Reach = coldseam.ReachID(fmt.Sprint("reach-", i))
		m.briefs = append(m.briefs, br)
	}

	h, err := New(testConfig(m))
	if err != nil {
		b.Fatal(err)
	}

	for _, p := range []struct{ name, path string }{{"board50", "/"}, {"river", "/river/reach-0"}} {
		b.Run(p.name, func(b *testing.B) {
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				r := httptest.NewRequest("GET", p.path, nil)
				r.Header.Set("Accept-Encoding", "gzip")
				w := httptest.NewRecorder()
				h.ServeHTTP(w, r)
				if w.Code != 200 {
					b.Fatal(w.Code)
				}
				n = w.Body.Len()
			}

			b.ReportMetric(float64(n), "bytes")
		})
	}
}
