package ingest

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"golang.org/x/net/html/charset"

	"example.org/coldseam"
)

// Check refuses a profile that cannot be fetched, naming the key.
func (p Profile) Check() error {
	for _, check := range []func() error{p.checkAddress, p.checkWords, p.checkTables, p.checkZones, p.checkRecords} {
		if err := check(); err != nil {
			return err
		}
	}
	for name := range p.Endpoints {
		e, err := p.At(name)
		if err != nil {
			return err
		}
		e.Endpoints = nil
		if err := e.Check(); err != nil {
			return fmt.Errorf("endpoint %s: %w", name, err)
		}
	}
	return nil
}

func (p Profile) invalid(key, want string, got any) error {
	return fmt.Errorf("profile %q: %s = %v: want %s: %w", p.Name, key, got, want, coldseam.ErrInvalid)
}

func (p Profile) checkAddress() error {
	if p.Name == "" {
		return p.invalid("name", "a name", `""`)
	}
	u, err := url.Parse(p.BaseURL)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" {
		return p.invalid("base_url", "an http or https address", p.BaseURL)
	}
	if u.Scheme == "http" && p.KeyHeader != "" && !p.allowsPrivate(u.Hostname()) {
		return p.invalid("base_url", "https where a key is sent", p.BaseURL)
	}
	if (p.KeyHeader == "") != (p.KeyFile == "") {
		return p.invalid("key_header", "both key_header and key_file, or none", p.KeyHeader)
	}
	if _, ok := p.Query["limit"]; p.Format == FormatFeatures && p.Query != nil && !ok {
		return p.invalid("query", "a limit: such services send 10 rows without one", p.Query)
	}
	return p.checkProperties()
}

// rowProperties name a row of the US service. A short list without them brings
// rows that belong to nothing.
var rowProperties = []string{"monitoring_location_id", "parameter_code", "time_series_id", "statistic_id",
	"last_modified", "time", "value", "unit_of_measure"}

func (p Profile) checkProperties() error {
	list := p.Query["properties"]
	if list == "" || p.Query["monitoring_location_id"] == "" || !strings.Contains(p.Path, "continuous") &&
		!strings.Contains(p.Path, "daily") {
		return nil
	}
	var lacks []string
	for _, want := range rowProperties {
		if !contains(strings.Split(list, ","), want) {
			lacks = append(lacks, want)
		}
	}
	if len(lacks) > 0 {
		return p.invalid("query.properties", "also "+strings.Join(lacks, ","), list)
	}
	return nil
}

func (p Profile) checkWords() error {
	for _, w := range []struct {
		key, got string
		allowed  []string
	}{
		{"format", p.Format, []string{"", FormatFeatures, FormatWaterML2, FormatWaterML1, FormatCAP, FormatCovJSON,
			FormatGridpoint, FormatSensorThings, FormatTable, FormatRecords}},
		{"kind", p.Kind, []string{"", "observation", "forecast"}},
		{"paging", p.Paging, []string{"", PagingNone, PagingFirst, PagingLinks, PagingBody, PagingIOT, PagingOffset,
			PagingPage}},
		{"method", p.Method, []string{"", "GET", "POST"}},
		{"statistic", p.Statistic, []string{"", "instant", "mean", "min", "max", "sum"}},
	} {
		if !contains(w.allowed, w.got) {
			return p.invalid(w.key, "one of "+strings.Join(w.allowed[1:], ", "), w.got)
		}
	}

	if mark := p.counter(); mark != "" && p.counterKey() == "" {
		return p.invalid("query", "a key whose value is "+mark+", as paging says", p.Query)
	}
	for _, s := range p.AcceptStatus {
		if s <= 200 || s > 299 {
			return p.invalid("accept_status", "201 to 299", s)
		}
	}
	if e, _ := charset.Lookup(p.EncodingOverride); e == nil && p.EncodingOverride != "" {
		return p.invalid("encoding_override", "the name of a text encoding such as iso-8859-1",
			strconv.Quote(p.EncodingOverride))
	}
	return nil
}

func (p Profile) checkTables() error {
	for code, param := range p.Parameters {
		if coldseam.Parameter(param).Unit() == "" {
			return p.invalid("parameters."+code, "a parameter", param)
		}
	}

	for param := range p.Levels {
		if coldseam.Parameter(param).Unit() == "" {
			return p.invalid("levels", "a parameter", param)
		}
	}

	for param, unit := range p.Units {
		if _, err := UnitFor(coldseam.Parameter(param), unit); err != nil {
			return fmt.Errorf("profile %q: units.%s: %w", p.Name, param, err)
		}
	}

	for code, action := range p.Qualifiers {
		if _, ok := actionFlags[action]; !ok {
			return p.invalid("qualifiers."+code, "ok, warn, bad, missing, ice, estimated or equipment", action)
		}
	}

	for param, st := range p.Statistics {
		if _, _, err := p.Stat(coldseam.Parameter(param)); err != nil {
			return p.invalid("statistics."+param, "a statistic and an ISO period, such as sum PT1H", st)
		}
	}

	for word, a := range p.Approval {
		if a != "provisional" && a != "approved" {
			return p.invalid("approval."+word, "provisional or approved", a)
		}
	}

	return nil
}

func (p Profile) checkZones() error {
	zones := map[string]string{"zone": p.Zone}
	for k, z := range p.Zones {
		zones["zones."+k] = z
	}
	for k, pl := range p.Places {
		zones["places."+k+".zone"] = pl.Zone
	}
	for key, z := range zones {
		if _, err := time.LoadLocation(z); err != nil || z == "Local" {
			return p.invalid(key, "an IANA zone", z)
		}
	}
	return nil
}
