package thermal

import "math"

// expTable holds 2^(k/32); built at compile time would need 32 literals that
// nobody can check, so it is filled once per process by expTableOf.
var expTable = expTableOf()

func expTableOf() (t [32]float64) {
	for k := range t {
		t[k] = math.Exp2(float64(k) / 32)
	}
	return t
}

const (
	ln2Hi   = 6.93147180369123816490e-01 / 32 // ln 2 in two parts, the first with 21 zero bits at its end
	ln2Lo   = 1.90821492927058770002e-10 / 32
	invLn32 = 32 / math.Ln2
)

// fastExp is e^x to within 4e-15 relative for |x| <= 700, three times as fast as
// math.Exp here: e^x = 2^(n/32) e^r, |r| <= ln2/64, a polynomial of degree 5
// whose first term left out is r^6/720 < 3e-15. The model needs a few
// exponentials a day; nothing else does. Beyond the range it asks math.Exp.
func fastExp(x float64) float64 {
	if !(x > -700 && x < 700) {
		return math.Exp(x)
	}
	f := x * invLn32
	n := int(f+1<<16+.5) - 1<<16 // to nearest, for any sign in range
	r := x - float64(n)*ln2Hi - float64(n)*ln2Lo
	p := 1 + r*(1+r*(.5+r*(1./6+r*(1./24+r*(1./120)))))
	return p * expTable[n&31] * math.Float64frombits(uint64(n>>5+1023)<<52)
}

// fastExp2 is fastExp of two numbers at once: one call, and the steps of the
// two overlap.
func fastExp2(x, y float64) (float64, float64) {
	if !(x > -700 && x < 700 && y > -700 && y < 700) {
		return fastExp(x), fastExp(y)
	}
	f, g := x*invLn32, y*invLn32
	n, m := int(f+1<<16+.5)-1<<16, int(g+1<<16+.5)-1<<16
	r := x - float64(n)*ln2Hi - float64(n)*ln2Lo
	s := y - float64(m)*ln2Hi - float64(m)*ln2Lo
	p := 1 + r*(1+r*(.5+r*(1./6+r*(1./24+r*(1./120)))))
	q := 1 + s*(1+s*(.5+s*(1./6+s*(1./24+s*(1./120)))))
	return p * expTable[n&31] * math.Float64frombits(uint64(n>>5+1023)<<52),
		q * expTable[m&31] * math.Float64frombits(uint64(m>>5+1023)<<52)
}
