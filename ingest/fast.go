package ingest

// The readers of this file take the plainest form of a number or a time
// straight from bytes. What they read they read as ParseDecimal and ParseTime
// do; what they do not take, with length 0, is not thereby wrong: it is for
// those two to say.

// FastDecimal reads a decimal of at most 15 digits without an exponent from
// the start of b, whose nearest float64 is the quotient of two exact ones.
// n is the number of bytes that were read.
func FastDecimal(b []byte) (v float64, n int) {
	i, neg := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		neg, i = b[0] == '-', 1
	}
	var m uint64
	digits, frac, point := 0, 0, false

	for ; i < len(b); i++ {
		c := b[i]
		if c >= '0' && c <= '9' {
			if digits++; digits > 15 {
				return 0, 0
			}
			m = 10*m + uint64(c-'0')
			if point {
				frac++
			}
			continue
		}

		if c != '.' || point {
			break
		}
		point = true
	}

	if digits == 0 || i < len(b) && (b[i] == 'e' || b[i] == 'E') {
		return 0, 0
	}
	v = float64(m)
	if frac > 0 {
		v /= pow10[frac]
	}
	if neg {
		v = -v
	}
	return v, i
}

var pow10 = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// two reads two digits; far below zero when they are none.
func two(b []byte, i int) int {
	a, c := int(b[i])-'0', int(b[i+1])-'0'
	if a < 0 || a > 9 || c < 0 || c > 9 {
		return -1 << 20
	}
	return 10*a + c
}

// FastTime reads YYYY-MM-DDThh:mm:ss[.f]Z, or with an offset of hh:mm, from the
// start of b: seconds and nanoseconds since 1970 UTC and the number of bytes.
func FastTime(b []byte) (sec int64, nsec int32, n int) {
	if len(b) < 20 || b[4] != '-' || b[7] != '-' || b[10] != 'T' || b[13] != ':' || b[16] != ':' {
		return 0, 0, 0
	}
	y, mo, d := 100*two(b, 0)+two(b, 2), two(b, 5), two(b, 8)
	hh, mm, ss := two(b, 11), two(b, 14), two(b, 17)
	if y < 1000 || mo < 1 || mo > 12 || d < 1 || d > 28 && d > daysIn(y, mo) || hh < 0 || hh > 23 || mm < 0 ||
		mm > 59 || ss < 0 || ss > 59 {
		return 0, 0, 0
	}

	i, ns := 19, 0
	if b[i] == '.' {
		scale := 100_000_000
		for i++; i < len(b) && b[i] >= '0' && b[i] <= '9'; i++ {
			ns += int(b[i]-'0') * scale
			scale /= 10
		}
		if i == 20 || i > 29 {
			return 0, 0, 0
		}
	}

	off := 0
	switch {
	case i < len(b) && b[i] == 'Z':
		i++
	case i+6 <= len(b) && (b[i] == '+' || b[i] == '-') && b[i+3] == ':':
		oh, om := two(b, i+1), two(b, i+4)
		if oh < 0 || oh > 15 || om < 0 || om > 59 {
			return 0, 0, 0
		}
		if off = 3600*oh + 60*om; b[i] == '-' {
			off = -off
		}
		i += 6
	default:
		return 0, 0, 0
	}

	return 86400*daysFromCivil(y, mo, d) + int64(3600*hh+60*mm+ss-off), int32(ns), i
}

func daysIn(y, m int) int {
	switch m {
	case 2:
		if y%4 == 0 && (y%100 != 0 || y%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

// daysFromCivil is the number of days from 1970-01-01 in the proleptic
// Gregorian calendar, counting years from March so that the leap day is last.
func daysFromCivil(y, m, d int) int64 {
	if m <= 2 {
		y--
		m += 12
	}
	return int64(365*y + y/4 - y/100 + y/400 + (153*(m-3)+2)/5 + d - 1 - 719468)
}
