package notify

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// subscriberFaults are the faults that a subscriber once met in mails and on pages,
// each with the tests that hold it.
var subscriberFaults = map[string][]string{
	"a member's own rig was told the club's weight":          {"TestAnUnweighedRigTakesNobodysWeight", "TestPersonal"},
	"a mail of several rivers hid the STOP":                  {"TestStopsStandFirst", "TestBoardOrder"},
	"flow words contradicted the chart":                      {"TestFlowWordsLookBackADay", "TestSinceLine"},
	"jig, run and advice named different places":             {"TestPlaceDoesNotFlip", "TestAHoleStandsForItsHead", "TestRemarksAgreeWithThePlace"},
	"the trip log took the future, contradictions, no hours": {"TestTripLogRefuses", "TestTripLogOfADayToCome", "TestTripLogInTwoTaps"},
	"the season chart lost its trips":                        {"TestGoldenCookbookOfTheDemo", "TestFirstSeason"},
	"a hidden row named the wrong reason":                    {"TestScoreWords", "TestHideSmall"},
	"the weekend said not yet under a warning":               {"TestWeekendTellsAStopThatLasts"},
	"tables were cut on the phone and on paper":              {"TestNothingIsCut", "TestFullCardFits", "TestGoldenCookbookOfTheDemo"},
	"the light mail had a black chart":                       {"TestMailPNG"},
	"times in two zones, texts that do not read":             {"TestNoticesReadWell", "TestSilentGaugeIsTold"},
	"the other unit system on a page":                        {"TestOneUnitSystemAPage", "TestUnitsStay"},
	"no way to one's own data, none to the admin":            {"TestOwnDataIsHandedOutAndErased", "TestSettingsAfterLeaving", "TestHeaders"},
	"a run out of season":                                    {"TestNoRunIsNoSpawn", "TestCodesHaveNames"},
	"far days were as sure as the next":                      {"TestFarDaysAreTooFarToTell", "TestTens"},
}

var testName = regexp.MustCompile(`(?m)^func (Test\w+)\(t \*testing\.T`)

func TestEveryFaultOfASubscriberHasItsTest(t *testing.T) {
	t.Parallel()
	there := map[string]bool{}
	root := os.DirFS("..")
	require.NoError(t, fs.WalkDir(root, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		src, err := os.ReadFile(filepath.Join("..", path))
		for _, m := range testName.FindAllStringSubmatch(string(src), -1) {
			there[m[1]] = true
		}
		return err
	}))
	for fault, tests := range subscriberFaults {
		for _, name := range tests {
			require.True(t, there[name], "%s: %s is gone", fault, name)
		}
	}
}
