package table

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// maxDays bounds a daily file: 200 years, which is within what a difference of
// two dates can express.
const maxDays = 73_000

// Daily reads the plain daily layout into the form of the daily models: header
// date and any of flow_m3s, water_c and air_c in any order, ISO dates in
// ascending order, an empty cell for a missing value. Days that the file
// leaves out are missing too. A column that is not there gives a nil slice.
// Values are taken as they stand, negative flow too. lat is the site's
// latitude in degrees.
func Daily(r io.Reader, lat float64) (coldseam.Days, error) {
	d, err := daily(r)
	d.Lat = lat
	if err != nil {
		return coldseam.Days{}, fmt.Errorf("daily table: %w", err)
	}
	return d, nil
}

func daily(r io.Reader) (coldseam.Days, error) {
	var d coldseam.Days
	body, err := ingest.ReadBody(r, ingest.Profile{MaxBodyBytes: 64 << 20})
	if err != nil {
		return d, err
	}

	c := csv.NewReader(strings.NewReader(string(body)))
	head, err := c.Read()
	if err != nil {
		return d, fmt.Errorf("no header: %w", coldseam.ErrInvalid)
	}
	cols, err := dailyHeader(head, &d)
	if err != nil {
		return d, err
	}

	for line := 2; ; line++ {
		rec, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return d, fmt.Errorf("%s: %w", err, coldseam.ErrInvalid)
		}
		if err := dailyRow(&d, cols, rec); err != nil {
			return d, fmt.Errorf("line %d: %w", line, err)
		}
	}

	if d.First.IsZero() {
		return d, fmt.Errorf("no rows: %w", coldseam.ErrInvalid)
	}
	return d, nil
}

// dailyHeader returns the slice that each column feeds; nil is the date.
func dailyHeader(head []string, d *coldseam.Days) ([]*[]float64, error) {
	cols := make([]*[]float64, len(head))
	seen := map[string]bool{}

	for i, h := range head {
		h = strings.TrimSpace(h)
		if seen[h] {
			return nil, fmt.Errorf("column %q stands twice: %w", clip(h), coldseam.ErrInvalid)
		}
		seen[h] = true

		switch h {
		case "date":
		case "flow_m3s":
			d.FlowM3S, cols[i] = []float64{}, &d.FlowM3S
		case "water_c":
			d.WaterC, cols[i] = []float64{}, &d.WaterC
		case "air_c":
			d.AirC, cols[i] = []float64{}, &d.AirC
		default:
			return nil, fmt.Errorf("column %q: want date, flow_m3s, water_c or air_c: %w", clip(h), coldseam.ErrInvalid)
		}
	}

	if !seen["date"] || len(head) < 2 {
		return nil, fmt.Errorf("header %q: want date and at least one of flow_m3s, water_c, air_c: %w",
			clip(strings.Join(head, ",")), coldseam.ErrInvalid)
	}
	return cols, nil
}

func dailyRow(d *coldseam.Days, cols []*[]float64, rec []string) error {
	var day coldseam.Date
	for i, c := range cols {
		if c == nil {
			var err error
			if day, err = coldseam.ParseDate(strings.TrimSpace(rec[i])); err != nil {
				return err
			}
		}
	}

	if d.First.IsZero() {
		d.First = day
	}
	at := d.Index(day)
	n := at
	for _, c := range cols {
		if c != nil {
			n = len(*c)
		}
	}

	if at < n {
		return fmt.Errorf("%s is not later than the day before it: %w", day, coldseam.ErrInvalid)
	}
	if at > maxDays {
		return fmt.Errorf("%s is more than %d days after the first: %w", day, maxDays, coldseam.ErrInvalid)
	}

	for i, c := range cols {
		if c == nil {
			continue
		}
		for len(*c) < at {
			*c = append(*c, math.NaN())
		}
		v := math.NaN()
		if t := strings.TrimSpace(rec[i]); t != "" {
			var err error
			if v, err = ingest.ParseDecimal(t); err != nil {
				return err
			}
		}

		*c = append(*c, v)
	}

	return nil
}

// Soften marks the days that a table date,symbol names with a symbol of soft,
// such as B for ice and E for estimated: their flow is not to be fitted on.
// Days outside the frame are passed over.
func Soften(d *coldseam.Days, r io.Reader, soft ...string) error {
	body, err := ingest.ReadBody(r, ingest.Profile{})
	if err != nil {
		return fmt.Errorf("symbols: %w", err)
	}

	c := csv.NewReader(strings.NewReader(string(body)))
	head, err := c.Read()
	if err != nil || len(head) != 2 || head[0] != "date" || head[1] != "symbol" {
		return fmt.Errorf("symbols: header %q: want date,symbol: %w", clip(strings.Join(head, ",")),
			coldseam.ErrInvalid)
	}
	flags := make([]bool, d.Len())
	copy(flags, d.FlowSoft)

	for {
		rec, err := c.Read()
		if errors.Is(err, io.EOF) {
			d.FlowSoft = flags
			return nil
		}

		if err != nil {
			return fmt.Errorf("symbols: %s: %w", err, coldseam.ErrInvalid)
		}
		day, err := coldseam.ParseDate(rec[0])
		if err != nil {
			return fmt.Errorf("symbols: %w", err)
		}

		if i := d.Index(day); i >= 0 && i < len(flags) {
			for _, s := range soft {
				flags[i] = flags[i] || rec[1] == s
			}
		}
	}
}

// DailyColumns are the value columns that a header of the daily layout names,
// for DailyMap; ok is false when the header is of another layout.
func DailyColumns(header string) (columns []string, ok bool) {
	names, err := csv.NewReader(strings.NewReader(strings.TrimSpace(strings.TrimPrefix(header, "\ufeff")))).Read()
	if err != nil {
		return nil, false
	}
	for i, h := range names {
		h = strings.TrimSpace(h)
		switch {
		case i == 0 && h != "date":
			return nil, false
		case i == 0:
		case dailyColumns[h].unit == "":
			return nil, false
		default:
			columns = append(columns, h)
		}
	}
	return columns, len(columns) > 0
}
