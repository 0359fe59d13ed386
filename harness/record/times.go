package record

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"time"
)

// clockUnit is h:mm:ss.sss or mm:ss.s.
const clockUnit = "clock"

// timeUnits gives microseconds for each unit of time that a log may use.
var timeUnits = map[string]float64{
	"s": 1e6, "sec": 1e6, "secs": 1e6, "second": 1e6, "seconds": 1e6, "sek": 1e6,
	"ms": 1e3, "msec": 1e3, "millis": 1e3, "milliseconds": 1e3,
	"us": 1, "µs": 1, "μs": 1, "usec": 1, "micros": 1, "microseconds": 1,
}

// longestUS bounds times to some 36,000 years, so that differences never wrap.
const longestUS = 1 << 60

const dayUS = 86_400_000_000

func isClockUnit(s string) bool {
	s = strings.ToLower(s)
	return s == clockUnit || strings.Contains(s, "mm:ss") || strings.Contains(s, "hh:mm") || strings.Contains(s, "m:s")
}

// timeWords name a time column; sideWords may stand beside them.
var (
	timeWords = []string{"time", "timestamp", "zeit", "zeitstempel", "temps", "tiempo", "tempo", "tijd"}
	sideWords = []string{"elapsed", "log", "logger", "session", "relative", "recording", "run", "sample", "stamp", "of", "the", "day", "clock", "since", "start", "total", "offset", "abs", "rel", "utc", "local"}
)

// isTimeTitle reports whether a title says time and nothing else.
func isTimeTitle(name string) bool {
	found := false
	for _, w := range words(name) {
		switch {
		case slices.Contains(timeWords, w):
			found = true
		case slices.Contains(sideWords, w), timeUnits[w] != 0:
		default:
			return false
		}
	}
	return found
}

// parseClock reads h:mm:ss.sss or mm:ss.s, with point or comma, as
// microseconds. Two parts are minutes and seconds. A date before it, as ISO
// 8601 writes it, counts the days from 1970; a zone other than Z is refused.
func parseClock(f []byte) (int64, bool) {
	const date = len("2006-01-02")
	if len(f) > date && f[4] == '-' && (f[date] == ' ' || f[date] == 'T') {
		day, err := time.Parse(time.DateOnly, string(f[:date]))
		us, ok := parseTimeOfDay(bytes.TrimSuffix(f[date+1:], []byte("Z")))
		return day.Unix()*1_000_000 + us, err == nil && ok && us < dayUS
	}
	return parseTimeOfDay(f)
}

func parseTimeOfDay(f []byte) (int64, bool) {
	var part [3]int64
	n, digits := 0, 0
	i := 0
	for ; i < len(f); i++ {
		c := f[i]
		if c == ':' {
			if digits == 0 || n == 2 || n > 0 && part[n] > 59 {
				return 0, false
			}
			n, digits = n+1, 0
			continue
		}
		if c-'0' > 9 {
			break
		}
		if digits++; digits > 9 {
			return 0, false
		}
		part[n] = part[n]*10 + int64(c-'0')
	}
	if n == 0 || digits == 0 || part[n] > 59 {
		return 0, false
	}
	us, ok := parseFraction(f[i:])
	if !ok {
		return 0, false
	}
	total := part[0]
	for _, p := range part[1 : n+1] {
		total = total*60 + p
	}
	return total*1_000_000 + us, true
}

// parseFraction reads ".sss" as microseconds, rounded to the nearest.
func parseFraction(f []byte) (int64, bool) {
	if len(f) == 0 {
		return 0, true
	}
	if f[0] != '.' && f[0] != ',' {
		return 0, false
	}
	us, scale := int64(0), int64(100_000)
	for i, c := range f[1:] {
		if c-'0' > 9 {
			return 0, false
		}
		us += int64(c-'0') * scale
		if i == 6 && c >= '5' {
			us++
		}
		scale /= 10
	}
	return us, true
}

// base is one time column, or the stated rate.
type base struct {
	col     int     // index of its column; -1: rate
	unit    string  // as Found.TimeUnit; "": not known yet
	scale   float64 // microseconds a unit
	guessed bool    // nobody stated the unit
	rate    float64
	channel []int // that it serves

	times      []int64
	high, seen int64 // highest kept, and last met
	wrap       int64 // days gone by, for a clock that passes midnight

	placed bool
	whole  bool // all times so far are whole seconds

	repeats, repeatLine  int // with the line of the first
	dropped, droppedLine int
}

// us turns a cell of the time column into microseconds.
func (b *base) us(v float64) (int64, bool) {
	t := math.Round(v * b.scale)
	if !(t > -longestUS && t < longestUS) {
		return 0, false
	}
	return int64(t), true
}

// step sorts a new time in; it reports whether the row is kept, at which time,
// and whether time has stepped back.
func (b *base) step(us, tolerance int64) (at int64, keep, back bool) {
	if !b.placed {
		b.placed, b.high, b.seen = true, us, us
		return us, true, false
	}
	if b.unit == clockUnit {
		const hour = dayUS / 24
		if us < hour && b.seen-b.wrap >= 23*hour && b.seen-b.wrap < 24*hour {
			b.wrap += dayUS
		}
		us += b.wrap
	}
	straight := b.seen >= b.high
	back = us < b.seen && b.seen-us > tolerance
	b.seen = us
	switch {
	case us >= b.high:
		if us == b.high {
			b.repeats++
		}
		b.high = us
	case straight && !back:
		b.repeats++
		us, b.seen = b.high, b.high
	default:
		return us, false, back
	}
	return us, true, back
}

// rateTime is the time of row k at a rate, start + count x step, so that it
// never drifts.
func rateTime(k int, rate float64) int64 {
	return int64(math.Round(float64(k) * 1e6 / rate))
}
