package notify

// doubtWords say why the readings of a gauge are not trusted, or a stop is kept.
var doubtWords = map[string]string{
	"flagged":         "flagged {flag}",
	"fall_too_steep":  "fell faster than this river can",
	"alternating":     "jumps up and down",
	"stuck":           "stands still longer than ever",
	"frozen":          "repeats one record",
	"still_in_rain":   "stands still as others move",
	"off_relation":    "flow and stage do not fit",
	"unit_slip":       "jumped by a ratio of units",
	"too_few":         "too few good readings",
	"relation_unseen": "stage never seen before",
	"still":           "nothing moves",
	"creep":           "falls too fast",
}
