package record

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type numberParser func(text []byte, mark byte) (float64, bool)

// checkNumber compares a parser with strconv, which rounds correctly and is
// not ours. What strconv takes beyond decimals (hexadecimal, underscores,
// words) must be refused.
func checkNumber(parse numberParser, text string) error {
	got, ok := parse([]byte(text), '.')
	want, err := strconv.ParseFloat(text, 64)
	decimal := text != "" && strings.Trim(text, "0123456789.eE+-") == ""
	if ok != (err == nil && decimal) {
		return fmt.Errorf("%q: accepted %v, strconv says %v", text, ok, err)
	}
	if ok && math.Float64bits(got) != math.Float64bits(want) {
		return fmt.Errorf("%q: got %v (%x), strconv gives %v (%x)", text, got, math.Float64bits(got), want, math.Float64bits(want))
	}
	if strings.ContainsAny(text, ",") {
		return nil
	}
	comma, okComma := parse([]byte(strings.ReplaceAll(text, ".", ",")), ',')
	if okComma != ok || ok && math.Float64bits(comma) != math.Float64bits(got) {
		return fmt.Errorf("%q: decimal comma gives %v %v", text, comma, okComma)
	}
	return nil
}

var numberSeeds = []string{
	"0", "-0", "+0", "-0.0", "1", "245.250000", "0.1", ".5", "5.", ".", "-", "+", "", "-.", "1e", "1e+", "1e5", "1E-05", "-1.5e+3",
	"9007199254740992", "9007199254740993", "9007199254740991.5", "0.000000000000000000001", "1234567890123456789", "12345678901234567890",
	"18446744073709551616", "99999999999999999999.9", "1.7976931348623157e308", "1.8e308", "5e-324", "2e-324", "2.2250738585072011e-308",
	"1e400", "0x10", "1_000", "nan", "inf", "1.2.3", "1,5", "--1", "1-", "1e5.5", "123456.7890123456789", "0.3", "4503599627370497.5",
	"8.442911973260991817129021e-309", "0000000000000000000000001.5", "00000000000000000000", "1 ", " 1", "1e99999999999999999999",
}

func TestNumberEqualsStrconv(t *testing.T) {
	for _, s := range numberSeeds {
		assert.NoError(t, checkNumber(ParseNumber, s))
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200_000 {
		require.NoError(t, checkNumber(ParseNumber, randomNumber(rng)))
	}
}

// randomNumber favours the edges of the quick way: 15 to 20 digits, mantissas
// about 2^53, many decimals.
func randomNumber(rng *rand.Rand) string {
	sign := [...]string{"", "", "-", "+"}[rng.IntN(4)]
	switch rng.IntN(7) {
	case 4:
		return sign + place(rng, strings.Repeat("0", 1+rng.IntN(3)))
	case 0:
		return sign + strconv.FormatFloat(math.Float64frombits(rng.Uint64()), [...]byte{'f', 'e', 'g'}[rng.IntN(3)], rng.IntN(20)-1, 64)
	case 1:
		return sign + place(rng, strconv.FormatUint(1<<53-5+rng.Uint64N(10), 10))
	case 2:
		return sign + place(rng, strconv.FormatUint(rng.Uint64(), 10)) + fmt.Sprintf("e%d", rng.IntN(700)-350)
	case 3:
		return sign + place(rng, strconv.FormatUint(rng.Uint64(), 10))
	default:
		return sign + strconv.FormatFloat(rng.NormFloat64()*1000, 'f', rng.IntN(9), 64)
	}
}

// place puts a decimal point somewhere into digits, or zeros before them.
func place(rng *rand.Rand, digits string) string {
	at := rng.IntN(len(digits) + 1)
	return strings.Repeat("0", rng.IntN(3)) + digits[:at] + "." + digits[at:]
}

// TestNumberCheckFindsFaults plants mistakes that a quick parser may make.
func TestNumberCheckFindsFaults(t *testing.T) {
	faults := map[string]numberParser{
		"multiplies by a rounded power instead of dividing": func(b []byte, mark byte) (float64, bool) {
			v, ok := ParseNumber(b, mark)
			if at := bytes.IndexByte(b, mark); ok && at >= 0 && !bytes.ContainsAny(b, "eE") && len(b)-at-1 <= 15 {
				whole := append(bytes.Clone(b[:at]), b[at+1:]...)
				m, _ := ParseNumber(whole, mark)
				return m * math.Pow10(-(len(b) - at - 1)), ok
			}
			return v, ok
		},
		"takes mantissas beyond 2^53 the quick way": func(b []byte, mark byte) (float64, bool) {
			v, ok := ParseNumber(b, mark)
			if at := bytes.IndexByte(b, mark); ok && at > 0 && len(b) == 18 && b[0] != '-' && !bytes.ContainsAny(b, "eE+") {
				m, err := strconv.ParseUint(string(b[:at])+string(b[at+1:]), 10, 64)
				return float64(m) / math.Pow10(len(b)-at-1), err == nil
			}
			return v, ok
		},
		"loses the sign of zero": func(b []byte, mark byte) (float64, bool) {
			v, ok := ParseNumber(b, mark)
			if v == 0 {
				v = math.Abs(v)
			}
			return v, ok
		},
		"drops an exponent": func(b []byte, mark byte) (float64, bool) {
			if at := bytes.IndexAny(b, "eE"); at > 0 {
				b = b[:at]
			}
			return ParseNumber(b, mark)
		},
	}
	for name, broken := range faults {
		rng := rand.New(rand.NewPCG(3, 4))
		found := false
		for i := 0; i < 300_000 && !found; i++ {
			found = checkNumber(broken, randomNumber(rng)) != nil
		}
		assert.True(t, found, name)
	}
}

func FuzzNumber(f *testing.F) {
	for _, s := range numberSeeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if err := checkNumber(ParseNumber, s); err != nil {
			t.Fatal(err)
		}
	})
}
