package coldseam

// MinEvidence is the number of judged GO and STAY mornings below which nothing
// is said of the word's worth [proposal].
const MinEvidence = 20

// Evidence is whether mornings fished better where the word was better.
type Evidence struct {
	Words  map[string]Share `json:"words"`  // GO, TOSS-UP, STAY
	N      int              `json:"n"`      // judged mornings on GO and STAY
	Enough bool             `json:"enough"` // else Gap is zero
	Gap    Estimate         `json:"gap"`    // share of good mornings on GO less that on STAY
}

// Share counts good mornings among those judged, with its 90 % interval.
type Share struct {
	Good int     `json:"good"`
	N    int     `json:"n"`
	Lo   float64 `json:"lo"`
	Hi   float64 `json:"hi"`
}

// Estimate is a value with its 90 % interval.
type Estimate struct {
	Value float64 `json:"value"`
	Lo    float64 `json:"lo"`
	Hi    float64 `json:"hi"`
}

// Ranking is how often a score puts a good morning above a poor one.
type Ranking struct {
	Name string   `json:"name"`
	N    int      `json:"n"`
	AUC  Estimate `json:"auc"` // 1 always, .5 as a coin
}

// SeasonValue is what the words of a season were worth, by a log or a counter.
type SeasonValue struct {
	Source string  `json:"source"` // trips or counts
	Known  int     `json:"known"`  // mornings with an outcome
	Good   float64 `json:"good"`   // from which a morning is good: fish a line hour, or a count; the median of the years
	Evidence
	Ranks     []Ranking     `json:"ranks"`
	Cost      float64       `json:"cost"`  // of a drive, in good mornings
	Net       float64       `json:"net"`   // of going on GO alone, in good mornings
	Saved     int           `json:"saved"` // poor mornings without a GO: drives saved
	Missed    int           `json:"missed"`
	Baselines []BaselineNet `json:"rivals"`
}

// BaselineNet is what another way to choose mornings was worth.
type BaselineNet struct {
	Name string   `json:"name"`
	Net  float64  `json:"net"`
	Gain Estimate `json:"gain"` // of the word over it
}
