package main

import (
	"bytes"
	"math"
	"net/mail"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
)

// three are the briefs of a morning: the Tamsen and the Hallam well, and the
// Brandt, which the tests harm. The Brandt has the least odds, so that it stands
// last.
func three() []coldseam.Brief {
	var out []coldseam.Brief
	for i, r := range []struct {
		id          coldseam.ReachID
		river, name string
	}{{"tamsen-bend", "Tamsen", "Bend"}, {"hallam-sandbar", "Hallam", "Sandbar"}, {"brandt-ledge", "Brandt", "Ledge"}} {
		b := onTamsen(clubtest.MorningAt(4, 40))
		b.Reach, b.River, b.ReachName = r.id, r.river, r.name
		for k := range b.Windows {
			b.Windows[k].Odds -= .01 * float64(i)
		}
		b.Odds = b.Windows[0].Odds
		b.Stops = []coldseam.Reason{}
		out = append(out, b)
	}
	return out
}

// leaves calls f for every settable number, string and time of a value, with its
// path: of slices and maps the first element alone.
func leaves(v reflect.Value, path string, f func(path string, leaf reflect.Value)) {
	switch v.Kind() {
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			f(path, v)
			return
		}
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				leaves(v.Field(i), path+"."+v.Type().Field(i).Name, f)
			}
		}
	case reflect.Slice, reflect.Array:
		if v.Len() > 0 {
			leaves(v.Index(0), path+"[0]", f)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			leaves(v.Elem(), path, f)
		}
	case reflect.Float64, reflect.Int, reflect.Int64, reflect.String:
		f(path, v)
	}
}

// hostile are the values that a leaf of each kind is set to.
func hostile(leaf reflect.Value) (out []reflect.Value) {
	add := func(vs ...any) {
		for _, x := range vs {
			out = append(out, reflect.ValueOf(x).Convert(leaf.Type()))
		}
	}
	switch leaf.Kind() {
	case reflect.Float64:
		add(math.NaN(), math.Inf(1), 1e308, -1e300)
	case reflect.Int, reflect.Int64:
		add(math.MaxInt32, math.MinInt32, -1)
	case reflect.String:
		add("", strings.Repeat("flood ", 20000), "a\r\nBcc: x@y.example\r\n\r\nb", "<script>alert(1)</script>",
			"NaN %!d(nil) <nil>", "\x00\xff\xfe", "\u202e\u2028=?utf-8?q?x?=")
	case reflect.Struct:
		add(time.Time{}, time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC), time.Date(1, 1, 2, 0, 0, 0, 0, time.UTC))
	}
	return out
}

var blockBegins = regexp.MustCompile(
	`^(?:(?:GO|TOSS-UP|STAY|STOP|NO CALL) (.*)|Fished the (.*?)\? Fish|(\S[^:\n]*): (?:hazards of|why|weight by|how, in|to measure|what this|rules|all cautions|other ways))`)

// riverBlocks are the parts of a mail's text that tell of one river, by its name.
func riverBlocks(t *testing.T, raw []byte) map[string]string {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	require.NoError(t, err)
	out := map[string]string{}
	name := ""

	for _, line := range strings.SplitAfter(clubtest.Text(t, m), "\n") {
		if m := blockBegins.FindStringSubmatch(line); m != nil {
			name = "other"
			for _, r := range []string{"Tamsen", "Hallam", "Brandt"} {
				if strings.HasPrefix(m[1]+m[2]+m[3], r) {
					name = r
				}
			}
		}

		if strings.HasPrefix(line, "Page: ") {
			name = "foot"
		}
		out[name] += line
	}

	m, err = mail.ReadMessage(bytes.NewReader(raw))
	require.NoError(t, err)
	page := htmlPart(t, m.Header.Get, m.Body)
	for _, at := range htmlBlock.FindAllStringSubmatchIndex(page, -1) {
		block := page[at[1]:]
		if end := htmlBlockEnds.FindStringIndex(block); end != nil {
			block = block[:end[0]]
		}
		block = imageNumber.ReplaceAllString(strings.ReplaceAll(block, "h1>", "h2>"), "cid:chart")
		out["html "+page[at[2]:at[3]]] += strings.TrimSpace(block)
	}

	require.NotEmpty(t, out["html Tamsen"])
	return out
}

// A river's block of a mail's HTML begins with its name, under h1 or h2, and ends
// where the next one or the foot begins.
var (
	htmlBlock     = regexp.MustCompile(`<h[12][^>]*><span[^>]*>(Tamsen|Hallam|Brandt)</span>&ensp;`)
	htmlBlockEnds = regexp.MustCompile(
		`<table[^>]*style="margin:30px 0 16px"|<h2[^>]*>(?:Further rivers|Still open)|<p class="i2 r"`)
	imageNumber = regexp.MustCompile(`cid:[^"]*`)
)
