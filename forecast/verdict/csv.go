package verdict

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"example.org/coldseam"
)

// FlowClasses are the flow classes of the advice table.
var FlowClasses = [...]string{"low", "normal", "high", "flood"}

// SeasonPaused reports whether the mail pauses: the window temperature of the
// last days stayed above limitF (club default 55 F for 5 days), or the river
// is ice-covered.
func SeasonPaused(waterC []float64, limitF float64, days int, iceCovered bool) bool {
	if iceCovered {
		return true
	}
	if len(waterC) < days || days < 1 {
		return false
	}
	for _, c := range waterC[len(waterC)-days:] {
		if math.IsNaN(c) || coldseam.F(c) <= limitF {
			return false
		}
	}
	return true
}

// csvRow is one record by column name, with its line.
type csvRow struct {
	line int
	f    map[string]string
}

// readCSV reads a file with exactly these columns; # starts a comment line.
func readCSV(r io.Reader, what string, cols []string) ([]csvRow, error) {
	cr := csv.NewReader(r)
	cr.FieldsPerRecord = -1 // the header is compared as a whole first
	cr.Comment = '#'
	head, err := cr.Read()
	cr.FieldsPerRecord = len(cols)
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", what, err, coldseam.ErrInvalid)
	}

	if got, want := strings.Join(head, ","), strings.Join(cols, ","); got != want {
		return nil, fmt.Errorf("%s line 1: header %q, want %s: %w", what, got, want, coldseam.ErrInvalid)
	}
	var out []csvRow

	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}

		if err != nil {
			return nil, fmt.Errorf("%s: %w: %w", what, err, coldseam.ErrInvalid)
		}
		line, _ := cr.FieldPos(0)
		row := csvRow{line: line, f: map[string]string{}}
		for i, c := range cols {
			row.f[c] = strings.TrimSpace(rec[i])
		}
		out = append(out, row)
	}
}

func knownBand(bands []coldseam.Band, key string) bool {
	for _, b := range bands {
		if b.Key == key {
			return true
		}
	}
	return false
}

func bandKeys(bands []coldseam.Band) string {
	var k []string
	for _, b := range bands {
		k = append(k, b.Key)
	}
	return strings.Join(k, ", ")
}

func knownFlow(f string) bool {
	for _, c := range FlowClasses {
		if c == f {
			return true
		}
	}
	return false
}

func knownMark(m string) bool {
	switch m {
	case "seen", "from memory", "proposal", "common practice", "log":
		return true
	}
	return false
}
