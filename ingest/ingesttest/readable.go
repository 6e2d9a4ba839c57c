package ingesttest

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// View is a Batch with one line a value, so that a person can check want.json.
type View struct {
	ingest.Batch
	Series    []SeriesView `json:"series,omitempty"`
	Forecasts []SeriesView `json:"forecasts,omitempty"`
}

// SeriesView is one series or forecast: rows are "time value flags [codes]".
type SeriesView struct {
	Key    string   `json:"key"`
	Ref    string   `json:"ref,omitempty"`
	Issued string   `json:"issued,omitempty"`
	Rows   []string `json:"rows"`
}

// Readable turns a batch into its view. Values have 7 significant digits.
func Readable(b ingest.Batch) View {
	v := View{Batch: b}
	for _, s := range b.Series {
		sv := SeriesView{Key: s.SeriesKey.String() + " of " + s.Provider, Ref: s.SeriesRef}
		for _, o := range s.Obs {
			sv.Rows = append(sv.Rows, line(o))
		}
		v.Series = append(v.Series, sv)
	}

	for _, f := range b.Forecasts {
		k := coldseam.SeriesKey{Site: f.Site, Param: f.Param, Stat: f.Stat, Period: f.Period}
		sv := SeriesView{Key: k.String() + " of " + f.Provider, Issued: f.Issued.UTC().Format(time.RFC3339)}
		if f.IssuedAssumed {
			sv.Issued = "not said"
		}

		for i, t := range f.At {
			row := t.UTC().Format(time.RFC3339) + " " + digits(f.Value[i])
			if f.Span != nil {
				row += " of " + f.Span[i][0].UTC().Format(time.RFC3339) + " to " +
					f.Span[i][1].UTC().Format(time.RFC3339)
			}
			for m := range f.Members {
				row += " m" + strconv.Itoa(m+1) + "=" + digits(f.Members[m][i])
			}
			sv.Rows = append(sv.Rows, row)
		}

		v.Forecasts = append(v.Forecasts, sv)
	}

	return v
}

func line(o coldseam.Observation) string {
	s := o.At.UTC().Format(time.RFC3339Nano) + " "
	if o.Flag&coldseam.Missing != 0 {
		s += "-"
	} else {
		s += digits(o.Value)
	}
	if names := o.Flag.Names(); len(names) > 0 {
		s += " " + strings.Join(names, "+")
	}
	if len(o.Qualifiers) > 0 {
		s += fmt.Sprintf(" %q", o.Qualifiers)
	}
	return s
}

func digits(v float64) string { return strconv.FormatFloat(v, 'g', 7, 64) }
