package main

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/triplog"
	"example.org/coldseam/forecast/season"
)

// outcomes are what --trips or --counts has on file; ok false = neither is asked
// for.
func (c *seasonCmd) outcomes(r coldseam.Reach) (o season.Outcomes, ok bool, err error) {
	path := c.Counts + c.Trips
	if path == "" {
		return o, false, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return o, false, env.ExitCode{Code: 2, Text: err.Error()}
	}
	defer f.Close()

	if c.Trips != "" {
		trips, err := triplog.Read(f, []coldseam.Reach{r}, triplog.Map{})
		if err != nil {
			return o, false, env.ExitCode{Code: 2, Text: fmt.Sprintf("%s: %s", filepath.Base(path),
				env.OneLine(err.Error()))}
		}
		return season.OfTrips(trips), true, nil
	}
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return o, false, env.ExitCode{Code: 2, Text: fmt.Sprintf("%s: %v", filepath.Base(path), err)}
	}
	o = season.Outcomes{Source: season.ByCounts, Rate: map[coldseam.Date]float64{}}
	for i, row := range rows {
		if i == 0 && len(row) == 2 && strings.EqualFold(strings.TrimSpace(row[0]), "date") {
			continue
		}
		if len(row) == 2 && strings.TrimSpace(row[1]) == "" {
			continue // a day that was not counted
		}
		if err := count(o.Rate, row); err != nil {
			return o, false, env.ExitCode{Code: 2, Text: fmt.Sprintf("%s line %d: %v", filepath.Base(path), i+1, err)}
		}
	}
	return o, true, nil
}

// count adds one line of a counter's file.
func count(counts map[coldseam.Date]float64, row []string) error {
	if len(row) != 2 {
		return fmt.Errorf("%d columns, want date,count", len(row))
	}
	day, err := coldseam.ParseDate(strings.TrimSpace(row[0]))
	if err != nil {
		return fmt.Errorf("date %q: want YYYY-MM-DD", row[0])
	}
	if _, twice := counts[day]; twice {
		return fmt.Errorf("%s is there twice", day)
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(row[1]), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("count %q: want a number; net counts may be below zero", row[1])
	}
	counts[day] = v
	return nil
}
