package jig

import (
	"math"
	"slices"

	"example.org/coldseam"
)

// Table answers "what holds bottom here" without the solver: for each spot, way,
// body and line the fastest surface current at which each size is tied on, and
// packed. It gives the sizes of Advise for a depth and current of this moment.
type Table struct {
	Spots  []TableSpot
	Ways   []string // presentations from the bank or a moored boat
	Bodies []string
	Lines  []string
	Oz     []float64 // the sizes carried, ascending
	Names  []string  // of the sizes
	WaterC float64   // that it was made for
	// Rows holds a text for each spot, way, body and line, the line running
	// fastest: for each size the current up to which it is tied on, then for each
	// the one up to which it is packed, in tableDigits digits of tableUnitMS.
	Rows []string
}

// TableSpot is a place with the depth that the table was made for.
type TableSpot struct {
	ID, Name string
	DepthM   float64
}

// TableInput is what a table is made for.
type TableInput struct {
	Spots   []TableSpot
	BoxOz   []float64
	Limits  Limits
	WaterC  float64
	WaterOK bool // false: 3 C is taken
	NoBoat  bool // nobody should anchor: high water, debris
}

// A current is written in digits of base tableBase: printable characters from
// tableFirst on without the backslash, which JSON would double.
const (
	tableUnitMS = 2.5e-6
	tableDigits = 3
	tableBase   = 91
	tableFirst  = '#'
	tableBytes  = 14_500 // of all rows: the card ships with no more than 15 kB
)

// tableLines are the lines of the table: thin, usual and heavy braid, and the
// usual nylon [common practice].
var tableLines = []string{"braid-0.10", "braid-0.14", "braid-0.18", "nylon-0.26"}

// NewTable computes the table for as many of the spots, first ones first, as the
// card can carry. Spots outside the range of the solver are left out.
func NewTable(in TableInput) Table {
	lim := in.Limits.filled()
	ways := []string{"quartering", "anchored", "vertical"}
	if in.NoBoat {
		ways = ways[:1]
	}
	t := Table{Ways: ways, Bodies: BodyNames(), Lines: tableLines,
		Oz: SpotInput{BoxOz: in.BoxOz}.box(lim.FloorOz, lim.MaxOz), WaterC: defaultWaterC}
	for _, oz := range t.Oz {
		t.Names = append(t.Names, coldseam.OzName(oz))
	}
	if in.WaterOK {
		t.WaterC = in.WaterC
	}
	water := WaterAt(t.WaterC)

	bytes := len(t.Ways) * len(t.Bodies) * len(t.Lines) * 2 * len(t.Oz) * tableDigits
	for _, s := range in.Spots {
		if !(s.DepthM >= MinDepthM && s.DepthM <= MaxDepthM) || (len(t.Spots)+1)*bytes > tableBytes {
			continue
		}
		t.Spots = append(t.Spots, s)
		for _, way := range t.Ways {
			for _, body := range t.Bodies {
				for _, line := range t.Lines {
					rig, err := ParseRig(body, line, "", way)
					if err != nil { // the names are the package's own
						panic(err)
					}
					t.Rows = append(t.Rows, t.row(rig, Station{DepthM: s.DepthM, Water: water}, in.BoxOz, lim))
				}
			}
		}
	}

	return t
}

// row writes the currents of one rig: see size for the rules.
func (t *Table) row(r Rig, st Station, box []float64, lim Limits) string {
	top := tooFastMS - tableUnitMS
	if r.Pres.Anchored {
		top = min(top, anchorLimitMS-tableUnitMS)
	}
	if r.netWeightN(heaviest(box)*coldseam.KgPerOunce, st.Water) <= 0 {
		top = 0
	}
	heavy := coldseam.TradeSizesOz[len(coldseam.TradeSizesOz)-2]
	top = fastest(r, st, heavy*coldseam.KgPerOunce, top)
	sd := math.Hypot(modelLnSD(0, timedSpeedLnSD, soundedLnSD), eventLnSD)

	var out []byte
	for _, p := range []float64{lim.TieNew, lim.Pack} {
		short := math.Exp(-sd * math.Sqrt2 * math.Erfinv(2*p-1))
		for _, oz := range t.Oz {
			n := int(fastest(r, st, oz*coldseam.KgPerOunce*short, top) / tableUnitMS)
			var digits [tableDigits]byte
			for i := range digits {
				d := byte(tableFirst + n%tableBase)
				if d >= '\\' {
					d++
				}
				digits[i] = d
				n /= tableBase
			}
			slices.Reverse(digits[:])
			out = append(out, digits[:]...)
		}
	}

	return string(out)
}

// fastest is the highest surface speed up to top at which a head of kg holds
// bottom; 0 where it holds in none.
func fastest(r Rig, st Station, kg, top float64) float64 {
	const still = 1e-3
	over := func(us float64) float64 {
		st.SurfaceMS = us
		var c column
		c.init(r, st)
		return min(c.margin(kg), c.sinkMargin(kg))
	}

	hi := over(top)
	if top <= still || hi >= 0 {
		return top
	}
	lo := over(still)
	if lo < 0 {
		return 0
	}
	return zero(still, top, lo, hi, rootTol, over)
}
