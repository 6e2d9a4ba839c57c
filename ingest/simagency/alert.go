package simagency

import (
	"fmt"
	"net/http"
	"strings"
	"time"
)

// bulletin is one CAP document of the agency, times relative to the anchor's
// 04:30.
type bulletin struct {
	id, msgType, status string
	sent, onset         time.Duration
	expires, end        time.Duration
	event, severity     string
	urgency, certainty  string
	headline            string
	phenomenon          string // H-VTEC: FA.A, FL.W
	action              string // NEW, CON
	river               int
	refs                int // index of the superseded bulletin, -1 = none
}

const capSender = "alerts@northgauge.example"

// bulletins: a flood watch for Hallam Fork, superseded by a warning that still
// runs, and a test message for Tamsen that must not count.
func bulletins() []bulletin {
	h := time.Hour
	return []bulletin{
		{
			id:         "NG-FLOOD-0001",
			msgType:    "Alert",
			status:     "Actual",
			sent:       -40 * h,
			onset:      -30 * h,
			expires:    -16 * h,
			end:        20 * h,
			event:      "Flood Watch",
			severity:   "Moderate",
			urgency:    "Expected",
			certainty:  "Possible",
			headline:   "Flood watch for Hallam Fork near Orrin Mill",
			phenomenon: "FL.A",
			action:     "NEW",
			river:      1,
			refs:       -1,
		},
		{
			id:         "NG-FLOOD-0002",
			msgType:    "Update",
			status:     "Actual",
			sent:       -14 * h,
			onset:      -14 * h,
			expires:    8 * h,
			end:        60 * h,
			event:      "Flood Warning",
			severity:   "Severe",
			urgency:    "Immediate",
			certainty:  "Observed",
			headline:   "Flood warning for Hallam Fork near Orrin Mill",
			phenomenon: "FL.W",
			action:     "NEW",
			river:      1,
			refs:       0,
		},
		{
			id:         "NG-TEST-0003",
			msgType:    "Alert",
			status:     "Test",
			sent:       -20 * h,
			onset:      -20 * h,
			expires:    30 * h,
			end:        30 * h,
			event:      "Flood Warning",
			severity:   "Severe",
			urgency:    "Expected",
			certainty:  "Likely",
			headline:   "TEST message, disregard",
			phenomenon: "FL.W",
			action:     "NEW",
			river:      0,
			refs:       -1,
		},
	}
}

func (a *Agency) morning() time.Time {
	d := a.world.Anchor
	return time.Date(d.Year, d.Month, d.Day, 4, 30, 0, 0, a.world.zone)
}

func (a *Agency) alertIndex(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "application/atom+xml")
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>` + "\n" + `<feed xmlns="http://www.w3.org/2005/Atom">` + "\n")
	fmt.Fprintf(&b, "<id>http://%s/alerts/index.atom</id><title>Northgauge alerts (invented)</title><updated>%s</updated>\n", r.Host, a.now().UTC().Format(time.RFC3339))
	for _, x := range bulletins() {
		sent := a.morning().Add(x.sent)
		if sent.After(a.now()) {
			continue
		}
		link := fmt.Sprintf("http://%s/alerts/%s.cap", r.Host, x.id)
		fmt.Fprintf(&b, `<entry><id>%s</id><title>%s</title><updated>%s</updated><link rel="alternate" type="application/cap+xml" href="%s"/></entry>`+"\n",
			link, x.headline, sent.UTC().Format(time.RFC3339), link)
	}
	b.WriteString("</feed>\n")
	_, _ = w.Write([]byte(b.String())) // held in memory by page
}

func (a *Agency) alertFile(w http.ResponseWriter, r *http.Request) {
	id, ok := strings.CutSuffix(r.PathValue("file"), ".cap")
	for _, x := range bulletins() {
		if ok && x.id == id && !a.morning().Add(x.sent).After(a.now()) {
			w.Header().Set("Content-Type", "application/cap+xml")
			_, _ = w.Write([]byte(a.capText(x))) // held in memory by page
			return
		}
	}
	fail(w, http.StatusNotFound, "NotFound", "no such alert")
}

func (a *Agency) capText(x bulletin) string {
	rv := a.world.rivers[x.river]
	stamp := func(d time.Duration) string { return a.morning().Add(d).Format(time.RFC3339) }
	vtec := func(d time.Duration) string { return a.morning().Add(d).UTC().Format("060102T1504Z") }
	refs := ""
	if x.refs >= 0 {
		old := bulletins()[x.refs]
		refs = fmt.Sprintf("\n  <references>%s,%s,%s</references>", capSender, old.id, stamp(old.sent))
	}
	box := fmt.Sprintf("%.2f,%.2f %.2f,%.2f %.2f,%.2f %.2f,%.2f %.2f,%.2f",
		rv.Lat+0.1, rv.Lon-0.15, rv.Lat+0.1, rv.Lon+0.15, rv.Lat-0.1, rv.Lon+0.15, rv.Lat-0.1, rv.Lon-0.15, rv.Lat+0.1,
		rv.Lon-0.15)

	return fmt.Sprintf(`<?xml version="1.0" encoding="UTF-8"?>
<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2">
  <identifier>%s</identifier>
  <sender>%s</sender>
  <sent>%s</sent>
  <status>%s</status>
  <msgType>%s</msgType>
  <scope>Public</scope>%s
  <info>
    <language>en-US</language>
    <category>Met</category>
    <event>%s</event>
    <responseType>Avoid</responseType>
    <urgency>%s</urgency>
    <severity>%s</severity>
    <certainty>%s</certainty>
    <eventCode><valueName>SAME</valueName><value>FLW</value></eventCode>
    <effective>%s</effective>
    <onset>%s</onset>
    <expires>%s</expires>
    <senderName>Northgauge Water Survey (invented)</senderName>
    <headline>%s</headline>
    <parameter><valueName>VTEC</valueName><value>/O.%s.KXNG.%s.0001.%s-%s/
/%s.1.ER.%s.%s.%s.NO/</value></parameter>
    <parameter><valueName>eventEndingTime</valueName><value>%s</value></parameter>
    <area>
      <areaDesc>%s</areaDesc>
      <polygon>%s</polygon>
      <geocode><valueName>UGC</valueName><value>%s</value></geocode>
    </area>
  </info>
</alert>
`, x.id, capSender, stamp(x.sent), x.status, x.msgType, refs, x.event, x.urgency, x.severity, x.certainty,
		stamp(x.sent), stamp(x.onset), stamp(x.expires), x.headline, x.action, x.phenomenon, vtec(x.onset), vtec(x.end),
		rv.GaugeCode, vtec(x.onset), vtec(x.onset+15*time.Hour), vtec(x.end-6*time.Hour), stamp(x.end), rv.Station, box,
		rv.UGC)
}
