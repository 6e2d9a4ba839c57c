package ingest_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// gotchas lists the numbered traps of foreign feeds with the case folder or the
// test that proves each of them: a path ending in / is a case, anything else is
// "file: test function".
var gotchas = map[string][]string{
	"G1 default page of 10 rows": {"profile_test.go: TestProfileCheck", "plan_test.go: TestPlanAddresses"},
	"G2 a failed later page":     {"fetch_test.go: TestFetchPaging"},
	"G3 next link or next token": {"../testdata/features/next_link/", "../testdata/features/next_token/",
		"plan_test.go: TestNextURL"},
	"G4 three-year windows": {"fetch_test.go: TestFetchWindowsAndProgress", "plan_test.go: TestWindows"},
	"G5 everything on one line": {"waterml/parse_test.go: TestTruncatedAtEveryByte",
		"ogcfeatures/bench_test.go: TestPageOfTenThousandRowsFitsTheCap"},
	"G6 valid empty answers": {"../testdata/features/empty/", "waterml/testdata/v2/empty_answer/",
		"waterml/testdata/v1/xml_empty/", "fetch_test.go: TestFetchStates"},
	"G7 numbers as text": {"../testdata/features/latest_two_series/",
		"../testdata/features/numbers/"},
	"G8 feature id is not stable":       {"../testdata/features/latest_two_series/"},
	"G9 qualifier null or array, peaks": {"../testdata/features/qualifier_forms/", "../testdata/features/peaks/"},
	"G10 approval in any case":          {"../testdata/features/qualifier_forms/", "quality_test.go: TestQuality"},
	"G11 geometry although absent":      {"../testdata/features/latest_two_series/"},
	"G12 several series in one answer": {"../testdata/features/latest_two_series/",
		"../testdata/features/chosen_series/", "primary_test.go: TestChoosePrimary"},
	"G13 bare local date": {"../testdata/features/daily_bare_date/",
		"../testdata/features/daily_without_zone/", "fuzz_test.go: TestCivilDaysTile"},
	"G14 begin zone-less or UTC":  {"../testdata/features/series_metadata/"},
	"G15 last_modified zone-less": {"../testdata/features/series_metadata/"},
	"G16 the text None": {"../testdata/features/field_measurements/",
		"../testdata/features/qualifier_forms/"},
	"G17 Canadian wide row": {"../testdata/features/canada_realtime/",
		"../testdata/features/canada_daily/", "plan_test.go: TestPlanAddresses"},
	"G18 pair without time and value": {"waterml/testdata/v2/empty_pair/"},
	"G19 implied times": {"waterml/testdata/v2/implied_months/",
		"waterml/testdata/v2/implied_hours_offset/"},
	"G20 unit in code, title, URN, absent": {"waterml/testdata/v2/empty_pair/", "waterml/testdata/v2/scalars/",
		"waterml/testdata/v2/unit_from_profile/", "waterml/testdata/v2/unit_none/"},
	"G21 spellings of units": {"unit_test.go: TestUnitFor", "waterml/testdata/v2/unit_unknown/",
		"../testdata/covjson/point_series/"},
	"G22 decoy units": {"waterml/testdata/v2/qualifier_overrides/",
		"waterml/testdata/v2/scalars/"},
	"G23 default qualifier and overrides": {"waterml/testdata/v2/qualifier_overrides/"},
	"G24 nil in all its forms":            {"waterml/testdata/v2/nil_forms/"},
	"G25 domain and range lists": {"waterml/testdata/v2/domain_range/",
		"waterml/testdata/v2/domain_range_unequal/"},
	"G26 categorical values":         {"waterml/testdata/v2/categorical_and_coverage/"},
	"G27 envelopes and prefixes":     {"waterml/testdata/v2/soap_prefixes/"},
	"G28 identity in title or href":  {"waterml/testdata/v2/references/"},
	"G29 references that dangle":     {"waterml/testdata/v2/references/"},
	"G30 many observations":          {"waterml/testdata/v2/scalars/"},
	"G31 statistic by interpolation": {"waterml/testdata/v2/statistics/", "waterml/testdata/v1/cuahsi_average/"},
	"G32 forecast in WaterML 2":      {"waterml/testdata/v2/forecast/"},
	"G33 axis order": {"../testdata/features/locations/", "../testdata/covjson/swapped_position/",
		"capalert/testdata/polygons_and_circle/", "primary_test.go: TestPlaceAt"},
	"G34 sentinels compared as numbers": {"decimal_test.go: TestValueMissing"},
	"G35 same time twice": {"../testdata/features/duplicate_times/",
		"waterml/testdata/v2/same_time_twice/"},
	"G36 resultTime before the last point": {"detect/parse_test.go: TestResultTimeBeforeTheLastPoint"},
	"G37 scalars and data arrays": {"waterml/testdata/v2/scalars/",
		"waterml/testdata/v2/data_array_separators/", "waterml/testdata/v2/data_array_crlf_count/"},
	"G38 milliseconds and +10:00": {"timestamp_test.go: TestParseTime"},
	"G39 K that is Celsius": {"../testdata/covjson/kelvin_that_is_celsius/",
		"covjson/parse_test.go: TestKelvinThatIsCelsius"},
	"G40 axis order, hoisted, profiles": {"../testdata/covjson/collection_hoisted/",
		"../testdata/covjson/vertical_profile/", "../testdata/covjson/ensemble_and_run/"},
	"G41 range key in lower case": {"../testdata/covjson/point_series/"},
	"G42 always ask with Z":       {"plan_test.go: TestPlanAddresses"},
	"G43 plain text":              {"../testdata/covjson/plain_text/"},
	"G44 wrappers of CAP": {"capalert/testdata/wrapper_alerts/", "capalert/testdata/wrapper_edxl/",
		"capalert/testdata/atom_inline/"},
	"G45 no expires": {"capalert/testdata/no_end/", "capalert/testdata/gauge_warning/"},
	"G46 update and cancel": {"capalert/testdata/cancel_without_info/",
		"capalert/testdata/update_without_references/", "capalert/parse_test.go: TestResolve"},
	"G47 languages":                   {"capalert/testdata/languages/", "capalert/testdata/language_twice_areas/"},
	"G48 polygons":                    {"capalert/testdata/polygons_and_circle/"},
	"G49 status Test, empty severity": {"capalert/testdata/test_status/", "capalert/testdata/defects/"},
	"G50 areas of all kinds": {"capalert/testdata/gauge_warning/", "capalert/testdata/vtec_end_and_areal/",
		"capalert/testdata/polygons_and_circle/"},
	"G51 qualifiers, two methods":         {"waterml/testdata/v1/qualifiers/", "waterml/testdata/v1/two_methods/"},
	"G52 local time, offset, UTC":         {"waterml/testdata/v1/times_three_ways/"},
	"G53 version 1.0":                     {"waterml/testdata/v1/version_10/"},
	"G54 result text, number, null":       {"sensorthings/testdata/odd_results/"},
	"G55 nested next links":               {"sensorthings/testdata/expand/"},
	"G56 rows unsorted, ids of two kinds": {"sensorthings/testdata/expand/", "../testdata/features/duplicate_times/"},
	"G57 encodings": {"../testdata/features/latin1/", "../testdata/features/latin1_override/",
		"../testdata/features/byte_order_mark/", "body_test.go: TestXMLEncodings"},
	"G58 NaN and white space":     {"decimal_test.go: TestParseDecimal"},
	"G59 long decimals":           {"decimal_test.go: TestParseDecimal", "../testdata/features/numbers/"},
	"G60 seconds in a tuple":      {"../testdata/covjson/composite_axis/"},
	"G61 declared count is wrong": {"waterml/testdata/v2/data_array_crlf_count/"},
	"G62 exception report":        {"waterml/testdata/v2/exception_report/"},
	"G63 truncation at an element": {"ogcfeatures/parse_test.go: TestTruncatedAnywhere",
		"covjson/parse_test.go: TestTruncatedAnywhere", "waterml/parse_test.go: TestTruncatedAtEveryByte",
		"capalert/parse_test.go: TestTruncatedAtEveryByte", "fetch_test.go: TestFetchCutBodyStoresNothing"},
	"G64 web page with status 200": {"../testdata/features/web_page/", "waterml/testdata/v2/soap_fault/",
		"capalert/testdata/web_page/", "fetch_test.go: TestFetchRefusals"},
	"G65 rows of the future": {"fetch_test.go: TestFetchRefusals"},
	"G66 entities, depth, size": {"body_test.go: TestXMLLimits", "body_plain_test.go: TestMemoryOfAttacks",
		"ogcfeatures/parse_test.go: TestMemoryOfAttacks", "fetch_test.go: TestFetchRefusals"},
	"G67 plus signs and spaces": {"plan_test.go: TestPlanAddresses"},
	"G68 key to another host":   {"fetch_test.go: TestFetchKeyStaysHome", "client_test.go: TestRedirect"},
}

// faults are those of the fault plan that belong to the feeds, and the ways of
// the loopback agency, with the tests of each.
var faults = map[string][]string{
	"F1 down, refused, no name": {"fetch_test.go: TestFetchRefusals",
		"simagency/fetch_test.go: TestDeadGaugeStopsNobodyElse"},
	"F2 one byte at a time": {"fetch_test.go: TestFetchRefusals",
		"simagency/fetch_test.go: TestScriptedFaults"},
	"F3 cut at every kilobyte": {"fetch_test.go: TestFetchCutBodyStoresNothing"},
	"F4 bombs, depth, attributes, NUL": {"body_test.go: TestXMLLimits", "body_plain_test.go: TestMemoryOfAttacks",
		"detect/memory_plain_test.go: TestMemoryOfDenseDocuments", "capalert/parse_test.go: TestAttacks",
		"waterml/parse_test.go: TestAttacks", "waterml/v1_test.go: TestV1Attacks",
		"sensorthings/parse_test.go: TestAttacks"},
	"F5 gzip bomb, header, endless": {"fetch_test.go: TestFetchRefusals",
		"simagency/fetch_test.go: TestScriptedFaults"},
	"F6 wrong unit, sign, sentinel": {"qc_test.go: TestCheckFindsSeededErrors",
		"qc_real_plain_test.go: TestCheckFindsErrorsInRecord", "unit_test.go: TestUnitFor"},
	"F7 duplicate, unordered, revised": {"converge_plain_test.go: TestAnyOrderSameTable",
		"converge_plain_test.go: TestRevisionsSameTable",
		"../cmd/internal/feeds/converge_plain_test.go: TestAnyOrderOfDocumentsSameTable"},
	"F8 future or no offset": {"fetch_test.go: TestFetchRefusals", "timestamp_test.go: TestParseTime",
		"../testdata/covjson/zone_less_times/"},
	"A1 200 then 304": {"fetch_test.go: TestFetchOKThenNotModified",
		"simagency/agency_test.go: TestConditionalGetAndManners"},
	"A2 429 with Retry-After": {"fetch_test.go: TestFetchRetries", "simagency/fetch_test.go: TestScriptedFaults",
		"budget_test.go: TestRetryAfterHoldsForAllServers"},
	"A3 500 then 200": {"fetch_test.go: TestFetchRetries", "simagency/fetch_test.go: TestScriptedFaults"},
	"A4 redirect to a private address": {"fetch_test.go: TestFetchRefusals",
		"simagency/fetch_test.go: TestScriptedFaults"},
	"A5 web page with 200": {"fetch_test.go: TestFetchRefusals",
		"simagency/fetch_test.go: TestScriptedFaults"},
	"A6 a warning that cannot be read": {"index_test.go: TestFetchAlertIndex",
		"index_test.go: TestIndexIsNotGoodBeforeItsDocuments",
		"../cmd/internal/feeds/safety_plain_test.go: TestWarningsCountOnlyWhenComplete"},
	"A7 requests of several servers": {"budget_test.go: TestFetchersShareABudget",
		"../store/requestbudget_test.go: TestServersShareTheBudgetOfAHost"},
	"A8 safety inputs before a send": {"../cmd/internal/club/pace_test.go: TestSafetyInputsAreFreshAtEverySend"},
	"A9 ice without a value is a stop": {"fetch_test.go: TestFetchIceWithoutValue",
		"../cmd/internal/feeds/safety_plain_test.go: TestIceWithoutAValueStopsTheMorning"},
	"A10 the field that moved": {"schema_test.go: TestSchemaNamesTheFieldThatMoved",
		"../cmd/internal/doctor/check_test.go: TestCheckOfDocuments"},
	"A11 an import of any size": {"waterml/stream_test.go: TestStreamMemoryIsFlat",
		"../cmd/coldseam/import_plain_test.go: TestImportOfALongRecord"},
	"A12 discharge by rating": {"rating_test.go: TestDischargeByRating",
		"../cmd/coldseam/import_plain_test.go: TestImportOfARating"},
}

// Every trap and every fault is proven by something that exists.
func TestEveryGotchaHasAProof(t *testing.T) {
	t.Parallel()
	require.Len(t, gotchas, 68)
	proven(t, gotchas)
	proven(t, faults)
}

func proven(t *testing.T, list map[string][]string) {
	seen := map[string]bool{}
	for name, proofs := range list {
		number, _, _ := strings.Cut(name, " ")
		require.False(t, seen[number], name)
		seen[number] = true
		require.NotEmpty(t, proofs, name)

		for _, p := range proofs {
			if strings.HasSuffix(p, "/") {
				want, err := os.ReadFile(filepath.Join(p, "want.json"))
				require.NoError(t, err, name)
				require.NotEmpty(t, want, name)
				continue
			}
			file, test, ok := strings.Cut(p, ": ")
			require.True(t, ok, p)
			src, err := os.ReadFile(file)
			require.NoError(t, err, name)
			require.Contains(t, string(src), "func "+test+"(t *testing.T)", name)
		}
	}
}
