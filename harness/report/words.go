package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/require"
)

// mostRunes is how much of a stranger's name is shown.
const mostRunes = 200

// shown makes a text that a stranger wrote fit to be read: what would be
// invisible, or turn the writing direction, is spelled out, and what is too long
// is cut.
func shown(s string) string { return cut(spelled(s), mostRunes) }

// spelled spells out what cannot be seen and leaves the rest alone.
func spelled(s string) string {
	if !strings.ContainsFunc(s, unseen) {
		return s
	}
	var b strings.Builder
	for _, c := range s {
		if unseen(c) {
			fmt.Fprintf(&b, "[U+%04X]", c)
		} else {
			b.WriteRune(c)
		}
	}
	return b.String()
}

// unitOf spells a unit, which is short or is none of ours.
func unitOf(s string) string { return cut(spelled(s), 12) }

// unseen reports control characters, format characters (which include all that
// turn the writing direction; Unicode's category Cf), line and paragraph
// separators, private characters and what is no character.
func unseen(c rune) bool {
	return c == unicode.ReplacementChar || unicode.In(c, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Co, unicode.Cs)
}

func cut(s string, most int) string {
	r := []rune(s)
	if len(r) <= most {
		return s
	}
	if most < mostIndexRunes {
		return string(r[:most]) + "..."
	}
	return string(r[:most]) + fmt.Sprintf("... (%d characters in all)", len(r))
}

// size spells a margin without its sign, as people read numbers.
func size(x float64, unit string) string {
	x = math.Abs(x)
	if unit == "percent" {
		unit = "%"
	}
	digits := 4
	if x >= 1000 {
		digits = len(strconv.FormatFloat(math.Trunc(min(x, 1e15)), 'f', 0, 64))
	}
	return strings.TrimSpace(strconv.FormatFloat(x, 'g', digits, 64) + " " + unit)
}

// marginWords spells a margin with its sign.
func marginWords(q *harness.RequirementResult) string {
	switch {
	case q.Unsized:
		return "no size"
	case q.Verdict == harness.VerdictInconclusive:
		return "open"
	case q.Margin < 0 || q.Verdict == harness.VerdictFails:
		return "\u2212" + size(q.Margin, unitOf(q.Unit)) // a minus sign
	}
	return "+" + size(q.Margin, unitOf(q.Unit))
}

// decimalsOfTime is how many decimals of a second tell ticks apart.
func decimalsOfTime(periodS float64) int {
	us := int64(math.Round(periodS * 1e6))
	for d, p := 0, int64(1_000_000); d < 6; d, p = d+1, p/10 {
		if us%p == 0 && us > 0 {
			return d
		}
	}
	if us <= 0 {
		return 3
	}
	return 6
}

func (r *Run) seconds(s float64) string {
	return strconv.FormatFloat(s, 'f', max(decimalsOfTime(r.Results.Period), 3), 64) + " s"
}

// verdictWords gives the verdict in one word, for people.
func verdictWords(verdict string) string {
	switch verdict {
	case harness.VerdictFails:
		return "FAILS"
	case harness.VerdictHolds:
		return "HOLDS"
	case harness.VerdictInconclusive:
		return "INCONCLUSIVE"
	}
	return "NOT JUDGED"
}

// headline says in a sentence what came out.
func (r *Run) headline() string {
	word := verdictWords(r.Results.Verdict)
	list := require.Ranked(r.Results.Requirements)
	if len(list) == 0 {
		return word + ": nothing was required of this run"
	}
	first := &list[0]
	where := shown(first.ID) + " at " + r.seconds(first.ClosestAt)
	switch r.Results.Verdict {
	case harness.VerdictFails:
		if !first.Unsized {
			where += " by " + size(first.Margin, unitOf(first.Unit))
		}
		return word + ": " + where + more(count(list, harness.VerdictFails)-1, "fails", "fail")
	case harness.VerdictInconclusive:
		return word + ": " + where + " stayed open" + more(count(list, harness.VerdictInconclusive)-1, "stayed open", "stayed open")
	}
	if first.Margin > 0 && !first.Unsized {
		return fmt.Sprintf("%s: all %d requirements; closest is %s, with %s to spare at %s",
			word, len(list), shown(first.ID), size(first.Margin, unitOf(first.Unit)), r.seconds(first.ClosestAt))
	}
	return fmt.Sprintf("%s: all %d requirements", word, len(list))
}

func count(list []harness.RequirementResult, verdict string) (n int) {
	for i := range list {
		if list[i].Verdict == verdict {
			n++
		}
	}
	return n
}

func more(n int, one, many string) string {
	switch {
	case n <= 0:
		return ""
	case n == 1:
		return "; 1 more " + one
	}
	return fmt.Sprintf("; %d more %s", n, many)
}

// when places a moment: after release, in which state.
func (r *Run) when(seconds float64) string {
	text := r.seconds(seconds) + " from the start"
	if at, ok := r.release(); ok {
		if d := seconds - at; d >= 0 {
			text += ", " + r.seconds(d) + " after release"
		} else {
			text += ", " + r.seconds(-d) + " before release"
		}
	}
	if s := r.stateAt(seconds); s != "" {
		text += "; launch sequence " + s
	}
	return text
}
