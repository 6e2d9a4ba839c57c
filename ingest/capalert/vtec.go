package capalert

import (
	"regexp"
	"time"
)

// The event line and the hydrologic line of US products [source: NWSI 10-1703,
// from memory; both lines seen in products of 2008, 2016 and 2020 kept in public
// test code, in CAP parameters with white space between them]. Warnings that come
// through the US service's own interface have the first line alone [source:
// weather-gov/api issue 34, 2020], so a reach needs its zones too:
//
//	/k.aaa.cccc.pp.s.####.yymmddThhnnZ-yymmddThhnnZ/
//	/nwsli.s.ic.yymmddThhnnZ.yymmddThhnnZ.yymmddThhnnZ.fr/
//
// 000000T0000Z means not stated, as an end: until further notice.
var (
	eventLine = regexp.MustCompile(
		`/[OTEX]\.([A-Z]{3})\.([A-Z]{4})\.([A-Z]{2})\.([A-Z])\.(\d{4})\.(\d{6}T\d{4}Z)-(\d{6}T\d{4}Z)/`)
	hydroLine = regexp.MustCompile(
		`/([A-Z0-9]{5})\.([A-Z0-9])\.([A-Z]{2})\.(\d{6}T\d{4}Z)\.(\d{6}T\d{4}Z)\.(\d{6}T\d{4}Z)\.([A-Z]{2})/`)
)

// areal is the gauge field of a flood product that stands for no gauge.
const areal = "00000"

const noTime = "000000T0000Z"

// vtec reads the lines of a VTEC parameter: codes such as FL.W, gauge ids and
// the latest end. until is true where an event runs until further notice.
func (b *builder) vtec(text string) (end time.Time, until bool) {
	found := eventLine.FindAllStringSubmatch(text, -1)
	for _, m := range found {
		b.lines++
		action, kind := m[1], m[3]+"."+m[4]
		if action == "CAN" || action == "EXP" || action == "UPG" {
			continue // this event has ended; another line may go on
		}
		b.ended = false
		b.code("VTEC=" + kind)
		if m[7] == noTime {
			until = true
			continue
		}

		if t, err := time.Parse("060102T1504Z", m[7]); err == nil {
			end = latest(end, t)
		} else {
			b.defect("event line ends at %s", m[7])
			until = true
		}
	}

	for _, m := range hydroLine.FindAllStringSubmatch(text, -1) {
		if m[1] != areal && b.once("gauge", m[1]) {
			b.a.GaugeCodes = append(b.a.GaugeCodes, m[1])
		}
	}

	if len(found) == 0 && text != "" && !hydroLine.MatchString(text) {
		b.defect("VTEC %q is not understood", clip(text))
		b.ended = false
		b.lines++
	}
	if until {
		end = time.Time{}
	}
	return end, until
}
