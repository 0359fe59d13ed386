package record

import "strconv"

// pow10 holds the powers of ten that a float64 represents exactly.
var pow10 = [23]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// ParseNumber reads the whole of text as a decimal number with the given
// decimal mark ('.' or ','): sign, digits with at most one mark, exponent. The
// result equals strconv.ParseFloat(text, 64) bit for bit. It reports false for
// anything else: spaces, words, hexadecimal, thousands separators, or a number
// beyond the range of float64.
func ParseNumber(text []byte, mark byte) (float64, bool) {
	v, end, ok := scanNumber(text, 0, mark)
	return v, ok && end == len(text)
}

// scanNumber reads the number that starts at b[i] and returns the index behind
// it. With a mantissa below 2^53 and a power of ten up to 10^22 both operands
// are exact, so that one division rounds once and correctly (W. D. Clinger,
// "How to read floating point numbers accurately", 1990). The rest goes to
// strconv. Weighing eight or sixteen bytes at once was tried and was slower on
// logs' short numbers.
func scanNumber(b []byte, i int, mark byte) (float64, int, bool) {
	start := i
	neg := false
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		neg = b[i] == '-'
		i++
	}
	var m uint64
	first := i
	for ; i < len(b) && b[i]-'0' <= 9; i++ {
		m = m*10 + uint64(b[i]-'0')
	}
	digits, fraction := i-first, 0
	if i < len(b) && b[i] == mark {
		first = i + 1
		for i++; i < len(b) && b[i]-'0' <= 9; i++ {
			m = m*10 + uint64(b[i]-'0')
		}
		fraction = i - first
		digits += fraction
	}
	if digits == 0 {
		return 0, start, false
	}
	if digits > 19 || m >= 1<<53 || i < len(b) && b[i]|0x20 == 'e' {
		return scanSlow(b, start, mark)
	}
	v := float64(m)
	if fraction > 0 {
		v /= pow10[fraction]
	}
	if neg {
		v = -v
	}
	return v, i, true
}

// scanSlow is scanNumber for long mantissas and exponents.
func scanSlow(b []byte, i int, mark byte) (float64, int, bool) {
	end := numberEnd(b, i, mark)
	text := append(make([]byte, 0, 64), b[i:end]...)
	for k := range text {
		if text[k] == mark {
			text[k] = '.'
		}
	}
	v, err := strconv.ParseFloat(string(text), 64)
	return v, end, err == nil
}

// numberEnd returns the index behind the number that starts at b[i]; the
// caller has seen that there is at least one digit.
func numberEnd(b []byte, i int, mark byte) int {
	if b[i] == '-' || b[i] == '+' {
		i++
	}
	i = skipDigits(b, i)
	if i < len(b) && b[i] == mark {
		i = skipDigits(b, i+1)
	}
	if i >= len(b) || b[i]|0x20 != 'e' {
		return i
	}
	e := i + 1
	if e < len(b) && (b[e] == '-' || b[e] == '+') {
		e++
	}
	if behind := skipDigits(b, e); behind > e {
		return behind
	}
	return i
}

func skipDigits(b []byte, i int) int {
	for i < len(b) && b[i]-'0' <= 9 {
		i++
	}
	return i
}
