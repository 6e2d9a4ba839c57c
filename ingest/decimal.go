package ingest

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"example.org/coldseam"
)

// ParseDecimal reads a plain decimal number: sign, digits, one point, an
// exponent, with white space around it. strconv alone also takes NaN, Inf,
// hexadecimal and underscores, and refuses white space, so the text is checked
// first. A number beyond the range of float64 is ErrInvalid too.
func ParseDecimal(s string) (float64, error) {
	t := strings.TrimSpace(s)
	if !isDecimal(t) {
		return 0, Because(CodeValue, fmt.Errorf("number %q: want a decimal: %w", clip(s), coldseam.ErrInvalid))
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, Because(CodeValue, fmt.Errorf("number %q: out of range: %w", clip(s), coldseam.ErrInvalid))
	}
	return v, nil
}

func isDecimal(t string) bool {
	if t != "" && (t[0] == '+' || t[0] == '-') {
		t = t[1:]
	}
	mant, exp, hasExp := strings.Cut(strings.ReplaceAll(t, "E", "e"), "e")
	whole, frac, _ := strings.Cut(mant, ".")
	if len(whole)+len(frac) == 0 || !digits(whole) || !digits(frac) {
		return false
	}
	if !hasExp {
		return true
	}
	if exp != "" && (exp[0] == '+' || exp[0] == '-') {
		exp = exp[1:]
	}
	return exp != "" && digits(exp)
}

func digits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return true
}

// clip keeps foreign text in errors and logs short.
func clip(s string) string { return clipTo(s, 80) }

func clipTo(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "") + "..."
}

// tokens and sentinels that mean "no value" in every format. The sentinels are
// compared as numbers, exactly: -999999.0 is one, -999.9 is not, and small
// negatives are genuine (tidal flow, stage below datum).
var (
	missingTokens = []string{"", "missing", "NaN", "nan"}
	sentinels     = []float64{-999999, -9999}
)

// Value reads a value as sent. missing is true for an empty text, a missing
// token of the profile or the built-in ones, an exact sentinel, or one of the
// document's own noData numbers. Anything else must be a decimal.
func (p Profile) Value(raw string, noData ...float64) (v float64, missing bool, err error) {
	t := strings.TrimSpace(raw)
	if contains(missingTokens, t) || contains(p.MissingTokens, t) {
		return 0, true, nil
	}
	v, err = ParseDecimal(t)
	if err != nil {
		return 0, false, err
	}

	for _, s := range append(noData, sentinels...) {
		if v == s {
			return 0, true, nil
		}
	}

	for _, m := range p.MissingTokens {
		if s, err := ParseDecimal(m); err == nil && s == v {
			return 0, true, nil
		}
	}

	return v, false, nil
}

// ValueOrMark is Value for services that write a qualifier in the place of a value:
// mark is true for a word that says why there is none, such as Ice, and missing too.
func (p Profile) ValueOrMark(raw string, noData ...float64) (v float64, missing, mark bool, err error) {
	if v, missing, err = p.Value(raw, noData...); err == nil {
		return v, missing, false, nil
	}
	f := p.qualifier(strings.TrimSpace(raw))
	if f&(coldseam.Ice|coldseam.Equipment|coldseam.Estimated|coldseam.Missing) == 0 {
		return 0, false, false, Because(CodeValue, fmt.Errorf("value %q is no decimal", clip(raw)))
	}
	return 0, true, true, nil
}
