package coldseam

// Band is a water-temperature band of the trade: bait action and cadence
// change from one to the next. The rows are data; DefaultBands are the club's
// starting point.
type Band struct {
	Key    string  // slow, ease, lift, spawn, drop-back
	Upper  float64 // degF, included; the last band has +Inf written as 999
	Action string  // one word for the pace
}

// DefaultBands: Fahrenheit is canonical, upper edge included [proposal].
var DefaultBands = []Band{
	{Key: "slow", Upper: 37},
	{Key: "ease", Upper: 40},
	{Key: "lift", Upper: 45},
	{Key: "spawn", Upper: 50},
	{Key: "drop-back", Upper: 999},
}

// BandOf returns the index of the band of a water temperature in degC.
func BandOf(bands []Band, waterC float64) int {
	f := F(waterC)
	for i, b := range bands {
		if f <= b.Upper+1e-9 {
			return i
		}
	}
	return len(bands) - 1
}

// BandEdgesC returns the inner edges of the bands in degC, ascending.
func BandEdgesC(bands []Band) []float64 {
	out := make([]float64, 0, len(bands)-1)
	for _, b := range bands[:len(bands)-1] {
		out = append(out, C(b.Upper))
	}
	return out
}
