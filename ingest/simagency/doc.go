// Package simagency is an invented water agency on loopback, for the demo and for
// tests. It serves three invented rivers over real HTTP, in the document
// shapes that real agencies use, from a seeded generator that knows nothing of
// the forecaster.
//
// # The generator
//
// Weather is a seasonal cycle with spells of one kind (semi-Markov) and a
// daily cycle. Snow and rain run through a soil store, two linear reservoirs
// and a channel store. Water temperature is an hourly energy budget: sun by
// its angle, long waves, wind-driven evaporation, bed exchange, inflow and an
// ice cover with its own thickness, over a depth that follows the flow. None
// of this is the forecaster's daily regression or its lumped balance, so it
// cannot win against itself here. Values are plausible, not calibrated to any
// real place.
//
// The record: daily means from 1 January of the twelfth year before the
// anchor day, 15-minute values from 60 days before it, both up to the clock,
// and weather up to 45 days after the anchor. Past that the gauges are silent.
// The last 70 days before the anchor are one of several drawn continuations,
// chosen so that the anchor morning tells the demo's story: Tamsen a good
// spring morning, Hallam Fork in flood, Brandt's gauge silent. The same seed
// and anchor day give the same bytes.
//
// # Addresses
//
// Under the base URL of Start:
//
//	/ogcapi/v1/collections/latest-continuous/items     newest row of each series
//	/ogcapi/v1/collections/continuous/items            15-minute rows
//	/ogcapi/v1/collections/daily/items                 daily means, also air temperature (00020)
//	/ogcapi/v1/collections/time-series-metadata/items
//	/ogcapi/v1/collections/monitoring-locations/items
//	/ogcapi/v1/collections/channel-measurements/items  gaugings
//	/ogcapi/v1/collections/field-measurements/items    stage and flow of the same visits
//	/sos?service=SOS&request=GetObservation&...        WaterML 2.0, any river
//	/edr/collections/metgrid/position?coords=POINT(lon lat)   newest model run
//	/edr/collections/metgrid/instances                 model runs, every 6 h
//	/edr/collections/metgrid/instances/{run}/position
//	/alerts/index.atom  /alerts/{id}.cap               CAP 1.2
//
// The GeoJSON follows the US profile: values as text, ft^3/s, ft and degC,
// limit 10 unless asked, at most 50,000 rows a page with a next link, a year
// when no time is given, at most 1,100 days a request. Version 0 answers too;
// its next links name version 1, as the US service's do. Hallam Fork reports
// its water temperature in degF. All answers carry a strong ETag and honour
// If-None-Match.
//
// # Planted faults
//
// Agency.Faults lists each with its exact times: a gap, sentinel values,
// duplicated rows, a spike, a stuck thermometer, a late revision, rows without
// value under ice, estimated daily means, and Brandt's silence. See fault.go.
// Faults of the transport are scripted by tests, see Script.
package simagency
