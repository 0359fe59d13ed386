package files

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
)

// A second invented kind, for what a garden does not have: required nested
// tables, fixed lists, numbers whose "not given" is not zero, conditions that
// depend on a field in error, nested tables inside lists of tables.
type workshop struct {
	Gears   [3]int16 // thousandths
	Teeth   int16    // -1: not given
	Lathe   lathe
	Drills  []drill
	Shifts  bool
	Evening struct{ Hours int8 }
}

type lathe struct {
	Feed  int32
	Power uint16
	Chuck struct{ Jaws uint8 }
}

type drill struct {
	Bits   []int16
	Window struct{ Lo, Hi int32 }
}

var workshopKind = Kind[workshop]{Name: "workshop", Format: "holdline-workshop-1", Fields: func(b *Block, w *workshop) {
	Ints(b, Fixed(w.Gears[:]), "gears", Scale{Mul: 1000}, RangeRaw(100, 9999))
	Int(b, &w.Teeth, "teeth", Number, Range(-1, 99), Absent(-1))
	Table(b, "lathe", func(b *Block) { latheFields(b, &w.Lathe) })
	Tables(b, Slice(&w.Drills), "drill", drillFields, Optional())
	Bool(b, &w.Shifts, "shifts", Default(false))
	b.When(w.Shifts, "only with shifts = true", func() {
		Table(b, "evening", func(b *Block) { Int(b, &w.Evening.Hours, "hours", Number, Range(1, 8)) })
	}, "shifts")
}}

func latheFields(b *Block, l *lathe) {
	Int(b, &l.Feed, "feed_mm", Scale{Unit: "mm", Mul: 1000}, Range(0.001, 2))
	Int(b, &l.Power, "power_kw", Scale{Unit: "kW", Mul: 10}, Default(1.5))
	Table(b, "chuck", func(b *Block) { Int(b, &l.Chuck.Jaws, "jaws", Number, Range(2, 6)) })
	if b.Decoding() && b.Good("feed_mm", "chuck") && l.Feed > 1000 && l.Chuck.Jaws < 3 {
		b.Fail("", harness.Finding{Reason: "this feed needs at least 3 jaws"})
	}
}

func drillFields(b *Block, d *drill) {
	Ints(b, Slice(&d.Bits), "bits_mm", Scale{Unit: "mm", Mul: 10}, Range(0.5, 30), Len(1, 99))
	Table(b, "window", func(b *Block) {
		Int(b, &d.Window.Lo, "lo_rpm", RPM, Default(100))
		Int(b, &d.Window.Hi, "hi_rpm", RPM, Default(3000))
	})
}

const goodWorkshop = `format = "holdline-workshop-1" # kind and version of this file
gears = [1, 2.5, 0.125]
shifts = true

[lathe]
feed_mm = 0.25
power_kw = 1.5

[lathe.chuck]
jaws = 3

[[drill]]
bits_mm = [2, 3.5]

[drill.window]
lo_rpm = 200
hi_rpm = 3000

[[drill]]
bits_mm = [8]

[drill.window]
lo_rpm = 100
hi_rpm = 900

[evening]
hours = 3
`

// stripped takes the comments off, which the garden's tests look at.
func stripped(text []byte) string {
	var out strings.Builder
	for _, l := range strings.Split(string(text), "\n") {
		l, comment, has := strings.Cut(l, "#")
		if has && strings.TrimSpace(l) == "" {
			continue
		}
		if l = strings.TrimRight(l, " "); has && strings.HasPrefix(l, "format") {
			l += " #" + comment
		}
		out.WriteString(l + "\n")
	}
	return strings.TrimSuffix(out.String(), "\n")
}

func TestWorkshop(t *testing.T) {
	require.NoError(t, workshopKind.Verify())
	w, doc, findings := workshopKind.Decode("w", []byte(goodWorkshop))
	require.Empty(t, findings)
	assert.Equal(t, [3]int16{1000, 2500, 125}, w.Gears)
	assert.EqualValues(t, -1, w.Teeth)
	assert.EqualValues(t, 900, w.Drills[1].Window.Hi)
	pos, _ := doc.Locate("drill[2].window.hi_rpm")
	assert.Equal(t, Pos{24, 1}, pos)

	text, err := workshopKind.Encode(w)
	require.NoError(t, err)
	assert.Equal(t, goodWorkshop, strings.Replace(stripped(text), `-1"  #`, `-1" #`, 1))
	back, _, findings := workshopKind.Decode("w", text)
	require.Empty(t, findings)
	assert.Empty(t, cmp.Diff(w, back))
}

func TestWorkshopFindings(t *testing.T) {
	head := "format = \"holdline-workshop-1\"\ngears = [1, 1, 1]\n"
	machine := "[lathe]\nfeed_mm = 0.5\nchuck.jaws = 3\n"
	for _, c := range []struct{ text, want string }{
		{head, "w:1:1: error: lathe: required table is missing; add [lathe] with feed_mm, chuck\n"},
		{head + "[lathe]\nfeed_mm = 0.5\n", "w:3:2: error: lathe.chuck: required table is missing; add [lathe.chuck] with jaws\n"},
		{head + "[lathe]\nfeed_mm = 1.5\nchuck.jaws = 2\n", "w:3:2: error: lathe: this feed needs at least 3 jaws\n"},
		{head + "[lathe]\nfeed_mm = 1.5\nchuck.jaws = 1\n", "w:5:14: error: lathe.chuck.jaws: out of range (got 1; allowed 2 to 6)\n"},
		{head + "lathe = ?\n", "w:3:9: error: lathe: syntax: unexpected character U+003F '?' at start of value (got lathe = ?)\n"},
		{head + "evening.hours = 2\n" + machine, "w:3:1: error: evening: is not used here: only with shifts = true; remove it\n"},
		{head + "shifts = 'no'\nevening.hours = 99\n" + machine, "w:3:10: error: shifts: must be true or false, not text (got 'no'; allowed true or false)\n"},
		{head + "shifts = true\n" + machine, "w:1:1: error: evening: required table is missing; add [evening] with hours\n"},
		{head + "teeth = -2\n" + machine, "w:3:9: error: teeth: out of range (got -2; allowed -1 to 99)\n"},
		{strings.Replace(head, "[1, 1, 1]", "[1, 1]", 1) + machine, "w:2:9: error: gears: wrong number of items (got 2; allowed 3)\n"},
		{strings.Replace(head, "[1, 1, 1]", "[1, 1, 0.05]", 1) + machine, "w:2:16: error: gears[3]: out of range (got 0.05; allowed 0.1 to 9.999)\n"},
		{head + "drill = [1]\n" + machine, "w:3:10: error: drill[1]: must be a table, not a number (got 1)\n"},
		{head + "drill = [{bits_mm = []}]\n" + machine, "w:3:21: error: drill[1].bits_mm: wrong number of items (got 0; allowed 1 to 99)\n"},
		{head + machine + "[lathe.chuck.key]\n", "w:6:14: error: lathe.chuck.key: unknown key (allowed jaws); remove it\n"},
		{head + machine + "power_kw = 7000\n", "w:6:12: error: lathe.power_kw: out of range (got 7000; allowed 0 to 6553.5 kW)\n"},
	} {
		_, _, findings := workshopKind.Decode("w", []byte(c.text))
		assert.Equal(t, c.want, show(findings), c.text)
	}
}

func TestTeethGiven(t *testing.T) {
	w, _, findings := workshopKind.Decode("w", []byte(strings.Replace(goodWorkshop, "shifts", "teeth = 0\nshifts", 1)))
	require.Empty(t, findings)
	assert.EqualValues(t, 0, w.Teeth)
	text, err := workshopKind.EncodeBrief(w)
	require.NoError(t, err)
	assert.Contains(t, string(text), "\nteeth = 0 ")
	assert.NotContains(t, string(text), "power_kw")
}
