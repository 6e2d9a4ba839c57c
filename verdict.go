package coldseam

// Verdict is the morning's word. The zero value is NoCall, so that missing
// data can never read GO.
type Verdict int

// The verdicts.
const (
	NoCall Verdict = iota
	Stop
	Stay
	TossUp
	Go
)

func (v Verdict) String() string {
	switch v {
	case Go:
		return "GO"
	case TossUp:
		return "TOSS-UP"
	case Stay:
		return "STAY"
	case Stop:
		return "STOP"
	}
	return "NO CALL"
}

// ParseVerdict reads the printed form.
func ParseVerdict(s string) (Verdict, bool) {
	for _, v := range []Verdict{NoCall, Stop, Stay, TossUp, Go} {
		if v.String() == s {
			return v, true
		}
	}
	return NoCall, false
}

// ShowsOdds reports whether odds may stand beside the verdict.
func (v Verdict) ShowsOdds() bool { return v == Go || v == TossUp || v == Stay }

// MarshalText and UnmarshalText use the printed form.
func (v Verdict) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// UnmarshalText reads the printed form; anything unknown is NoCall.
func (v *Verdict) UnmarshalText(b []byte) error {
	*v, _ = ParseVerdict(string(b))
	return nil
}
