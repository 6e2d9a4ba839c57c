package setup

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"example.org/coldseam/cmd/internal/env"
)

// Asker asks the person at a terminal.
type Asker struct {
	in  *bufio.Scanner
	out io.Writer
}

// NewAsker reads answers from in and writes questions to out.
func NewAsker(in io.Reader, out io.Writer) *Asker { return &Asker{bufio.NewScanner(in), out} }

// line asks one question; an empty answer, and the end of the input, is the
// proposal.
func (a *Asker) line(question, proposal string) string {
	fmt.Fprintf(a.out, "%s [%s]: ", question, proposal)
	if !a.in.Scan() {
		fmt.Fprintln(a.out)
	}
	return env.OrElse(strings.TrimSpace(a.in.Text()), proposal)
}

// isTerminal reports a device other than the one that swallows everything.
func isTerminal(f *os.File) bool {
	st, err := f.Stat()
	null, nerr := os.Stat(os.DevNull)
	return err == nil && st.Mode()&os.ModeCharDevice != 0 && (nerr != nil || !os.SameFile(st, null))
}

// questions asks for what no flag said.
func (c *Init) questions(m Machine) {
	if c.Club == "" {
		c.Club = c.Ask.line("The club's name", defaultClub)
	}

	for c.Zone == "" {
		zone := c.Ask.line("Its time zone", env.OrElse(m.zone, "UTC"))
		if _, err := time.LoadLocation(zone); err == nil && zone != "Local" {
			c.Zone = zone
			break
		}
		fmt.Fprintf(c.Ask.out, "%q is no zone; want a name such as America/Chicago\n", zone)
	}

	const later = "later"
	question := "The first river: its name, or a place on it as latitude and longitude, such as 45.3 -92.7"
	for {
		answer := c.Ask.line(question, later)
		if answer == later {
			return
		}
		if lat, lon, ok := place(answer); ok {
			c.first.Lat, c.first.Lon, c.first.Name, c.first.RadiusKM, c.first.Years = lat, lon, "reach", 40, 30
			return
		}
		if c.first.River == "" && word.MatchString(answer) {
			c.first.River = answer
			question = "A place on the " + answer + " as latitude and longitude, west negative"
			continue
		}
		fmt.Fprintf(c.Ask.out, "%q is no place; want two numbers with decimal points, such as 45.3 -92.7\n", answer)
	}
}

// place reads latitude and longitude, parted by blanks or a comma.
func place(s string) (lat, lon float64, ok bool) {
	parts := strings.FieldsFunc(s, func(r rune) bool { return r == ',' || unicode.IsSpace(r) })
	if len(parts) != 2 {
		return 0, 0, false
	}
	lat, err1 := strconv.ParseFloat(parts[0], 64)
	lon, err2 := strconv.ParseFloat(parts[1], 64)
	return lat, lon, err1 == nil && err2 == nil && isPlace(lat, lon)
}

// word is what a river's name has and no place: 45.3N 92.7W is meant as one.
var word = regexp.MustCompile(`\pL\pL`)

// proposed is the code of the gauge that fits best: the nearest that carries the
// river's name, else the nearest, and one of daily means alone only where there
// is no other.
func (c *siteAddCmd) proposed(near []candidate, now time.Time) (best string) {
	rank := -1
	for _, x := range near {
		r := 0
		if x.refused(now) != "" {
			continue
		}
		if !x.daily() {
			r = 1
		}
		if c.River != "" && strings.Contains(strings.ToLower(x.Name), strings.ToLower(c.River)) {
			r += 2
		}
		if r > rank {
			best, rank = x.Code, r
		}
	}
	return best
}
