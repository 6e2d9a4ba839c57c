package env

import (
	"fmt"
	"strings"
	"time"

	"example.org/coldseam"
)

// Day is 24 hours.
const Day = 24 * time.Hour

// OrElse is s, or other where s is empty.
func OrElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// Zone is an IANA zone by its name, UTC where there is none of that name.
func Zone(name string) *time.Location {
	if loc, err := time.LoadLocation(name); err == nil && name != "" {
		return loc
	}
	return time.UTC
}

// OneLine keeps an error to a single line: foreign bytes may hold breaks.
func OneLine(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == '\n' || r == '\r' }), " ")
}

// ParamWords name the parameters for people.
var ParamWords = map[coldseam.Parameter]string{coldseam.Discharge: "Flow", coldseam.Stage: "Stage",
	coldseam.WaterTemp: "Water temperature", coldseam.Turbidity: "Turbidity"}

// Age says a span in the unit a person would use.
func Age(d time.Duration) string {
	switch {
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d < 3*Day:
		return fmt.Sprintf("%.0f h", d.Hours())
	}
	return fmt.Sprintf("%.0f d", d.Hours()/24)
}
