package simagency

import (
	"time"

	"example.org/coldseam/ingest"
)

// Names of the profiles that Profiles returns.
const (
	ProfileGauges  = "northgauge"     // GeoJSON, all rivers
	ProfileWaterML = "northgauge-wml" // WaterML 2.0, same site ids
	ProfileWeather = "metgrid"        // CoverageJSON forecasts, one place a river
	ProfileAlerts  = "northgauge-cap" // CAP index and documents
)

// Profiles are the transport profiles of the agency at baseURL, as a config
// file would hold them. The gauge profiles share the provider Provider, so a
// gauge has one site id whichever of them serves it.
func Profiles(baseURL string) []ingest.Profile {
	const attribution = "Northgauge Water Survey (invented)"
	places := map[string]ingest.Place{}
	for _, r := range Rivers() {
		places[r.Code] = ingest.Place{Lat: r.Lat, Lon: r.Lon, Zone: Zone}
	}

	rows := func(extra map[string]string) map[string]string {
		q := map[string]string{"f": "json", "monitoring_location_id": "{sites}", "limit": "{limit}",
			"skipGeometry": "true"}
		for k, v := range extra {
			q[k] = v
		}
		return q
	}
	const items = "/ogcapi/v1/collections/"
	day := 24 * time.Hour

	gauges := ingest.Profile{
		Name:     ProfileGauges,
		Provider: Provider,
		Format:   ingest.FormatFeatures,
		BaseURL:  baseURL,
		Path:     items + "latest-continuous/items",
		Query:    rows(map[string]string{"parameter_code": "00060,00065,00010"}),
		Endpoints: map[string]ingest.Endpoint{
			"latest": {Path: items + "latest-continuous/items",
				Query: rows(map[string]string{"parameter_code": "00060,00065,00010"})},
			"history": {Path: items + "continuous/items",
				Query: rows(map[string]string{"parameter_code": "00060,00065,00010",
					"datetime": "{since}/{until}"}),
				MaxWindow: ingest.Span(30 * day)},
			"revisions": {Path: items + "continuous/items",
				Query: rows(map[string]string{"parameter_code": "00060,00065,00010", "last_modified": "PT36H"})},
			"daily": {Path: items + "daily/items",
				Query: rows(map[string]string{"parameter_code": "00060,00010,00020", "statistic_id": "00003",
					"datetime": "{since_date}/{until_date}"}), MaxWindow: ingest.Span(1095 * day)},
			"metadata":  {Path: items + "time-series-metadata/items", Query: rows(nil)},
			"locations": {Path: items + "monitoring-locations/items", Query: rows(nil)},
			"channels":  {Path: items + "channel-measurements/items", Query: rows(nil)},
			"gaugings":  {Path: items + "field-measurements/items", Query: rows(nil)},
		},
		Paging:       ingest.PagingLinks,
		Zone:         Zone,
		PrivateHosts: []string{"127.0.0.1"},
		RatePerHour:  3600,
		Places:       places,
		Licence:      "invented data, no licence needed",
		Attribution:  attribution,
	}

	wml := ingest.Profile{
		Name:     ProfileWaterML,
		Provider: Provider,
		Format:   ingest.FormatWaterML2,
		BaseURL:  baseURL,
		Path:     "/sos",
		Query: map[string]string{
			"service": "SOS", "version": "2.0.0", "request": "GetObservation", "featureOfInterest": "{sites}",
			"observedProperty": "discharge,stage,water_temperature",
			"temporalFilter":   "om:phenomenonTime,{since}/{until}",
		},
		Endpoints: map[string]ingest.Endpoint{
			"daily": {Query: map[string]string{
				"service": "SOS", "version": "2.0.0", "request": "GetObservation", "featureOfInterest": "{sites}",
				"procedure":        "DailyMean",
				"observedProperty": "discharge,water_temperature,air_temperature",
				"temporalFilter":   "om:phenomenonTime,{since}/{until}",
			}, MaxWindow: ingest.Span(1000 * day)},
		},
		Parameters: map[string]string{"discharge": "discharge", "stage": "stage", "water_temperature": "water_temp",
			"air_temperature": "air_temp"},
		MaxWindow:    ingest.Span(30 * day),
		Zone:         Zone,
		PrivateHosts: []string{"127.0.0.1"},
		RatePerHour:  3600,
		Licence:      "invented data, no licence needed",
		Attribution:  attribution,
	}

	weather := ingest.Profile{
		Name:    ProfileWeather,
		Format:  ingest.FormatCovJSON,
		Kind:    "forecast",
		BaseURL: baseURL,
		Path:    "/edr/collections/metgrid/position",
		Query: map[string]string{
			"coords": "POINT({lon} {lat})", "f": "CoverageJSON", "datetime": "{since}/{until}",
			"parameter-name": "air_temperature,wind_speed,wind_gust,wind_from_direction,precipitation_amount,thunder_probability",
		},
		Parameters: map[string]string{
			"air_temperature": "air_temp", "wind_speed": "wind", "wind_gust": "gust", "wind_from_direction": "wind_from",
			"precipitation_amount": "precip", "thunder_probability": "thunder_prob",
		},
		Statistics:      map[string]string{"precip": "sum PT1H"},
		SitesPerRequest: 1,
		Places:          places,
		PrivateHosts:    []string{"127.0.0.1"},
		RatePerHour:     3600,
		Licence:         "invented data, no licence needed",
		Attribution:     "Invented weather model",
	}

	alerts := ingest.Profile{
		Name: ProfileAlerts, Format: ingest.FormatCAP, BaseURL: baseURL, Path: "/alerts/index.atom",
		PrivateHosts: []string{"127.0.0.1"}, RatePerHour: 3600,
		Licence: "invented data, no licence needed", Attribution: attribution,
	}
	return []ingest.Profile{gauges, wml, weather, alerts}
}
