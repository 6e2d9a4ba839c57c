package coldseam

import "time"

// Forecast is one issued forecast of one parameter at a place, as an agency
// sent it. Every forecast is archived: dressing and honest scores need the
// issues, not only the newest one.
type Forecast struct {
	Site          SiteID // the place's own id with the provider, such as "metgrid:tamsen"
	Param         Parameter
	Stat          Statistic
	Period        string
	Provider      string
	Issued        time.Time // model run
	IssuedAssumed bool      // the document gave none: known-at was taken
	KnownAt       time.Time
	At            []time.Time
	Value         []float64   // SI; NaN never: a missing step is left out of both
	Members       [][]float64 // optional, [member][step]; Value is then their mean
	// Span is what each value stands for, from and to, where the document says
	// so or the spacing no longer does; nil = read it off the spacing, see Spans.
	Span [][2]time.Time `json:",omitempty"`
}

// Alert is one official warning (CAP 1.2) after updates and cancels were
// resolved by reference.
type Alert struct {
	Feed       string // profile it was read by; "" = not known, as in warnings stored before feeds were kept apart
	Document   string `json:",omitempty"` // address it was read at; "" = it stood in the index itself
	Provider   string
	Sender     string
	Identifier string
	Sent       time.Time
	Status     string // Actual, Test, Exercise ...
	MsgType    string // Alert, Update, Cancel
	References []string
	Event      string
	EventCodes []string
	Urgency    string
	Severity   string
	Certainty  string
	Headline   string
	From       time.Time // greatest of onset, effective, sent
	End        time.Time // event end; FurtherNotice where it lies years ahead
	EndAssumed bool      // nothing said: 24 h after sent
	Areas      []AlertArea
	GaugeCodes []string // H-VTEC
	KnownAt    time.Time
	Defects    []string // what was wrong in form; the alert is kept as the worst case
	Unplaced   string   `json:",omitempty"` // why it cannot be said where it holds; set when it is matched to a reach
}

// FurtherNotice is the end of an alert that has none in sight.
var FurtherNotice = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// FeedGap is one entry that a reading of a feed of warnings lacks.
type FeedGap struct {
	Entry string // id or address
	Title string
	Why   string // no_link, unread, unreadable, too_deep, too_many
}

// Placed reports whether an area has a code or a shape.
func (a *Alert) Placed() bool {
	for _, ar := range a.Areas {
		if len(ar.Geocodes)+len(ar.Polygons)+len(ar.Circles) > 0 {
			return true
		}
	}
	return len(a.GaugeCodes) > 0
}

// PlacedBy takes the areas that the index gives an alert without its own.
func (a *Alert) PlacedBy(index Alert) {
	if !a.Placed() && index.Placed() {
		a.Areas = index.Areas
	}
}

// AlertArea is one area block.
type AlertArea struct {
	Desc     string
	Geocodes []string       // "UGC=XXC001" form: name=value
	Polygons [][][2]float64 // lat, lon
	Circles  [][3]float64   // lat, lon, radius km
	Damaged  bool           `json:",omitempty"` // a polygon or circle of it could not be read
}

// RawFetch is the record of one fetch with its payload, kept compressed for
// replay. URL never carries a key.
type RawFetch struct {
	ID         int64
	Profile    string
	URL        string
	At         time.Time // end of the fetch: the known-at of what it brought
	Status     int
	Bytes      int64
	SHA256     string
	Dur        time.Duration
	ETag       string
	LastMod    string
	NotBefore  time.Time // the server asked us to wait until then
	Err        string    // one line, no secrets
	Gaps       []FeedGap // what keeps a feed of warnings from being complete
	Rows       int
	Payload    []byte // uncompressed; the store compresses it
	Attributes string
}
