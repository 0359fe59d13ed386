package files

import (
	"errors"
	"math/big"
	"strconv"
	"strings"
)

// decimal is an exact decimal number: digits * 10^exp. The zero value is 0.
type decimal struct {
	digits int64
	exp    int
}

const (
	maxDigits   = 18 // significant digits that fit an int64
	maxExponent = 24
)

var (
	errNotDecimal = errors.New("is not a plain decimal number")
	errTooLong    = errors.New("has more digits than any value here can use")
)

// parseDecimal reads a number as TOML writes it: sign, digits with
// underscores between them, fraction, exponent. Hexadecimal, octal and binary
// forms, inf and nan are refused.
func parseDecimal(s string) (decimal, error) {
	neg := false
	if s != "" && (s[0] == '-' || s[0] == '+') {
		neg, s = s[0] == '-', s[1:]
	}
	mantissa, power, hasPower := cutExponent(s)
	exp := 0
	if hasPower {
		e, err := strconv.Atoi(strings.ReplaceAll(power, "_", ""))
		if err != nil {
			return decimal{}, errNotDecimal
		}
		if e > 1000 || e < -1000 {
			return decimal{}, errTooLong
		}
		exp = e
	}
	d, err := parseMantissa(mantissa)
	if err != nil {
		return d, err
	}
	d.exp += exp
	if neg {
		d.digits = -d.digits
	}
	return d.bounded()
}

func cutExponent(s string) (mantissa, power string, found bool) {
	if i := strings.IndexAny(s, "eE"); i >= 0 {
		return s[:i], s[i+1:], true
	}
	return s, "", false
}

func parseMantissa(s string) (decimal, error) {
	var d decimal
	whole, frac, hasPoint := strings.Cut(s, ".")
	if whole == "" || hasPoint && frac == "" {
		return d, errNotDecimal
	}
	if hasPoint {
		d.exp = -len(strings.ReplaceAll(frac, "_", ""))
	}
	zeros := 0 // not yet known to be trailing
	for _, c := range []byte(whole + frac) {
		if c == '_' {
			continue
		}
		if c < '0' || c > '9' {
			return d, errNotDecimal
		}
		if c == '0' {
			zeros++
			continue
		}
		for ; zeros >= 0; zeros-- {
			if d.digits >= 1e17 {
				return d, errTooLong
			}
			d.digits *= 10
		}
		zeros = 0
		d.digits += int64(c - '0')
	}
	d.exp += zeros
	return d, nil
}

// bounded returns d without trailing zeros, or an error if it is out of the
// range that arithmetic here is made for.
func (d decimal) bounded() (decimal, error) {
	if d.digits == 0 {
		return decimal{}, nil
	}
	for d.digits%10 == 0 {
		d.digits /= 10
		d.exp++
	}
	if d.exp > maxExponent || d.exp < -maxExponent {
		return decimal{}, errTooLong
	}
	return d, nil
}

// String writes d in plain digits without an exponent.
func (d decimal) String() string {
	s := strconv.FormatInt(d.digits, 10)
	sign := ""
	if s[0] == '-' {
		sign, s = "-", s[1:]
	}
	if d.digits == 0 || d.exp >= 0 {
		if d.digits == 0 {
			return "0"
		}
		return sign + s + strings.Repeat("0", d.exp)
	}
	if missing := 1 - d.exp - len(s); missing > 0 {
		s = strings.Repeat("0", missing) + s
	}
	point := len(s) + d.exp
	return sign + s[:point] + "." + s[point:]
}

// rat returns d as an exact fraction.
func (d decimal) rat() *big.Rat {
	r := new(big.Rat).SetInt64(d.digits)
	p := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(d.exp, -d.exp))), nil)
	if d.exp < 0 {
		return r.Quo(r, new(big.Rat).SetInt(p))
	}
	return r.Mul(r, new(big.Rat).SetInt(p))
}

// decimalOf returns r as a decimal of at most the given number of places,
// rounded half away from zero; exact tells whether nothing was lost.
func decimalOf(r *big.Rat, places int) (d decimal, exact bool) {
	scaled := new(big.Rat).Mul(r, decimal{1, places}.rat())
	n := roundRat(scaled)
	if !n.IsInt64() {
		return decimal{}, false
	}
	d, err := decimal{n.Int64(), -places}.bounded()
	return d, err == nil && d.rat().Cmp(r) == 0
}

// roundRat rounds half away from zero.
func roundRat(r *big.Rat) *big.Int {
	n := new(big.Int).Abs(r.Num())
	n.Mul(n, big.NewInt(2)).Add(n, r.Denom())
	n.Quo(n, new(big.Int).Mul(r.Denom(), big.NewInt(2)))
	if r.Sign() < 0 {
		n.Neg(n)
	}
	return n
}

// floorRat rounds down.
func floorRat(r *big.Rat) *big.Int {
	q, m := new(big.Int).QuoRem(r.Num(), r.Denom(), new(big.Int))
	if m.Sign() < 0 {
		q.Sub(q, big.NewInt(1))
	}
	return q
}
