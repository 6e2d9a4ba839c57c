// Package ingesttest holds what the tests of every wire format share: case
// folders with expected results, truncation at every byte, and the real
// documents of the developer's machine.
package ingesttest

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

var update = flag.Bool("update", false, "write want.json of the case folders")

// Cases runs parse over every folder of dir. A case has response.* and
// want.json, and may have profile.json (Go field names of ingest.Profile) and
// request.txt, which documents the call. want.json is the Batch in its readable
// form, or {"error": "..."} with the exact text of the refusal.
func Cases(t *testing.T, dir string, parse ingest.ParseFunc) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) == 0 {
		t.Fatalf("case folders of %s: %d, %v", dir, len(entries), err)
	}
	for _, e := range entries {
		if e.Name() == "fuzz" { // inputs that the fuzzer found
			continue
		}
		t.Run(e.Name(), func(t *testing.T) {
			t.Parallel()
			runCase(t, filepath.Join(dir, e.Name()), parse)
		})
	}
}

func runCase(t *testing.T, dir string, parse ingest.ParseFunc) {
	b, err := parse(bytes.NewReader(Response(t, dir)), CaseProfile(t, dir))
	got := any(Readable(b))
	if err != nil {
		if !errors.Is(err, coldseam.ErrInvalid) {
			t.Fatalf("refusal %q is of no error class", err)
		}
		got = map[string]string{"error": err.Error()}
	}

	j, err := json.MarshalIndent(got, "", "  ")
	if err != nil {
		t.Fatal(err)
	}

	j = append(j, '\n')
	path := filepath.Join(dir, "want.json")
	if *update {
		if err := os.WriteFile(path, j, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}

	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(want, j) {
		t.Fatalf("%s differs; got:\n%s", path, j)
	}
}

// Response reads the response file of a case.
func Response(t testing.TB, dir string) []byte {
	t.Helper()
	m, _ := filepath.Glob(filepath.Join(dir, "response.*"))
	if len(m) != 1 {
		t.Fatalf("%s: %d response files, want one", dir, len(m))
	}
	body, err := os.ReadFile(m[0])
	if err != nil {
		t.Fatal(err)
	}
	return body
}

// CaseProfile reads profile.json of a case; without one it is the zero profile
// named "test".
func CaseProfile(t testing.TB, dir string) ingest.Profile {
	t.Helper()
	p := ingest.Profile{Name: "test"}
	body, err := os.ReadFile(filepath.Join(dir, "profile.json"))
	if errors.Is(err, os.ErrNotExist) {
		return p
	}
	if err == nil {
		d := json.NewDecoder(bytes.NewReader(body))
		d.DisallowUnknownFields()
		err = d.Decode(&p)
	}
	if err != nil {
		t.Fatalf("%s: %v", dir, err)
	}
	return p
}

// Truncate cuts a document at every byte but those that only lose trailing
// white space, and demands that the parser refuses each piece.
func Truncate(t *testing.T, body []byte, p ingest.Profile, parse ingest.ParseFunc) {
	t.Helper()
	if _, err := parse(bytes.NewReader(body), p); err != nil {
		t.Fatalf("the whole document: %v", err)
	}
	for n := range len(bytes.TrimRight(body, " \t\r\n")) {
		b, err := parse(bytes.NewReader(body[:n]), p)
		if err == nil || b.Rows() > 0 {
			t.Fatalf("cut at byte %d of %d: %d rows, error %v", n, len(body), b.Rows(), err)
		}
	}
}

// RealFeeds returns the folder feeds of COLDSEAM_REAL_DATA. Unset skips the
// test; set but unreadable fails it.
func RealFeeds(t *testing.T) string {
	t.Helper()
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: the collected documents are not read")
	}
	dir := filepath.Join(root, "feeds")
	if _, err := os.Stat(dir); err != nil {
		t.Fatalf("COLDSEAM_REAL_DATA: %v", err)
	}
	return dir
}

// Seeds adds the responses of the case folders to a fuzz corpus.
func Seeds(f *testing.F, dirs ...string) {
	f.Helper()
	for _, dir := range dirs {
		m, _ := filepath.Glob(filepath.Join(dir, "*", "response.*"))
		for _, path := range m {
			body, err := os.ReadFile(path)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(body)
		}
	}
}

// Sound fails when a batch breaks what every parser promises: sorted unique
// times, finite values (JSON has no NaN), known-at left zero.
func Sound(t testing.TB, b ingest.Batch) {
	t.Helper()
	for _, s := range b.Series {
		if _, dup, err := coldseam.NewSeries(s.SeriesKey, s.Obs); err != nil || dup > 0 {
			t.Fatalf("series %s: %d duplicates, %v", s.SeriesKey, dup, err)
		}
		for i, o := range s.Obs {
			if i > 0 && !s.Obs[i-1].At.Before(o.At) || !o.KnownAt.IsZero() || o.Flag&coldseam.QCFlags != 0 {
				t.Fatalf("series %s: row %d is out of order or carries what a parser may not set", s.SeriesKey, i)
			}
		}
	}

	for _, f := range b.Forecasts {
		if len(f.At) != len(f.Value) || !f.KnownAt.IsZero() {
			t.Fatalf("forecast %s %s: %d times, %d values", f.Site, f.Param, len(f.At), len(f.Value))
		}
	}
	if _, err := json.Marshal(b); err != nil && !strings.Contains(err.Error(), "year outside of range") {
		t.Fatalf("batch: %v", err)
	}
}
