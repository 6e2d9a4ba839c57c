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
	End        time.Time // event end
	EndAssumed bool      // nothing said: 24 h after sent
	Areas      []AlertArea
	GaugeCodes []string // H-VTEC
	KnownAt    time.Time
	Defects    []string // what was wrong in form; the alert is kept as the worst case
}

// AlertArea is one area block.
type AlertArea struct {
	Desc     string
	Geocodes []string       // "UGC=XXC001" form: name=value
	Polygons [][][2]float64 // lat, lon
	Circles  [][3]float64   // lat, lon, radius km
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
	Rows       int
	Payload    []byte // uncompressed; the store compresses it
	Attributes string
}
