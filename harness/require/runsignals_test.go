package require_test

import (
	"math"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	stl "github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/require/proving"
)

// handTrace records frames that a test writes by hand.
type handTrace struct {
	*harness.Trace
	f harness.Frame
}

func byHand(cal *controller.Calibration) *handTrace {
	h := &handTrace{Trace: harness.NewTrace(cal)}
	for c := range controller.NumChannels {
		h.f.In.Set(c, 0)
	}
	for sw := range controller.NumSwitches {
		h.f.In.Put(sw, false)
	}
	h.f.In.Set(controller.EngineSpeed, 50000)
	h.f.In.Set(controller.ManifoldPressure, 100000)
	h.f.In.Set(controller.SupplyVoltage, 13500)
	h.f.In.Set(controller.Lambda, 8500)
	h.f.Out.Speed, h.f.Out.Ceiling = controller.SpeedGood, 60000
	return h
}

func (h *handTrace) tick(events ...harness.Event) {
	h.f.N = copy(h.f.Events[:], events)
	_ = h.Record(&h.f)
	h.f.Tick++
}

func fuel(cyl, cycle int, give bool) harness.Event {
	return harness.Event{Cylinder: uint8(cyl), Cycle: controller.Cycle(cycle), Kind: harness.FuelCommit, Give: give, Why: controller.WhyCut, Mixture: controller.One}
}

func spark(cyl, cycle int, give bool) harness.Event {
	e := fuel(cyl, cycle, give)
	e.Kind = harness.SparkCommit
	return e
}

func column(t *testing.T, s *stl.RunSignals, name string) []int32 {
	t.Helper()
	c, ok := s.Lookup(name)
	require.True(t, ok, name)
	return c.Ints
}

// Commits folded by hand: each tick is one case of design sections 4 and 8.
func TestCommitsAreFolded(t *testing.T) {
	cal := proving.Car()
	h := byHand(cal)
	demand := func(d controller.Demand, m controller.Medium) { h.f.Out.Demand, h.f.Out.Medium = d, m }
	demand(controller.FullDemand, controller.Both)
	h.tick(fuel(1, 1, false), fuel(8, 1, false), fuel(4, 1, true)) // 0: the third is missed
	demand(0, controller.NoMedium)
	h.tick(spark(1, 1, false)) // 1: the pair, whole
	h.tick(spark(8, 1, true))  // 2: split: fuel withheld, spark fired
	h.tick(spark(4, 1, true))  // 3: given as decided
	h.tick(fuel(1, 2, false))  // 4: fuel withheld that nobody asked for
	h.tick(fuel(8, 2, true))   // 5
	h.tick(spark(8, 2, false)) // 6: raw charge: fuelled, not fired, no spark cut; not reported
	demand(controller.FullDemand, controller.Spark)
	e := spark(4, 2, false)
	e.Unburnt = true
	h.tick(fuel(4, 2, true), e) // 7: a spark cut, reported
	e = fuel(3, 2, false)
	e.Why = controller.WhyGiven
	demand(controller.FullDemand, controller.Both)
	h.tick(e) // 8: withheld for a reason that is none
	s := stl.OfTrace(h.Trace, cal)
	for name, want := range map[string][]int32{
		"fuel_commits":   {3, 0, 0, 0, 1, 1, 0, 1, 1},
		"fuel_withheld":  {2, 0, 0, 0, 1, 0, 0, 0, 1},
		"spark_withheld": {0, 1, 0, 0, 0, 0, 1, 1, 0},
		"withheld":       {2, 1, 0, 0, 1, 0, 1, 1, 1},
		"missed_full":    {1, 0, 0, 0, 0, 0, 0, 0, 0},
		"split":          {0, 0, 1, 0, 0, 0, 0, 0, 0},
		"unasked_fuel":   {0, 0, 0, 0, 1, 0, 0, 0, 0},
		"unasked_spark":  {0, 0, 0, 0, 0, 0, 1, 0, 0},
		"unreported":     {0, 0, 0, 0, 0, 0, 1, 0, 0},
		"unburnt":        {0, 0, 0, 0, 0, 0, 0, 1, 0},
		"unreasoned":     {0, 0, 0, 0, 0, 0, 0, 0, 1},
		"longest_run":    {0, 1, 1, 1, 1, 1, 2, 2, 2},
	} {
		assert.Equal(t, want, column(t, s, name), name)
	}
}

// Half of the events cut. Every second one, the other half of the cylinders in
// each cycle, is even; the first half of every cycle is not.
func TestEvennessByHand(t *testing.T) {
	cal := proving.Car()
	worst := func(cut func(position int) bool) (events float64, cylinders int32) {
		h := byHand(cal)
		h.f.Out.Demand, h.f.Out.Medium = controller.FullDemand/2, controller.Both
		for k := range 8 * 6 {
			h.tick(fuel(int(cal.Engine.Order[k%8]), k/8, !cut(k%8+k/8%2)))
		}
		s := stl.OfTrace(h.Trace, cal)
		c, ok := s.Lookup("spread_error")
		require.True(t, ok)
		apart := column(t, s, "cylinder_spread")
		return c.Floats[len(c.Floats)-1], apart[len(apart)-1]
	}
	events, cylinders := worst(func(p int) bool { return p%2 == 0 })
	assert.InDelta(t, 1, events, 1e-12, "where the turn of a cycle leaves two uncut in a row")
	assert.Equal(t, int32(1), cylinders)
	events, cylinders = worst(func(p int) bool { return p < 4 })
	assert.Greater(t, events, 1.9)
	assert.Greater(t, cylinders, int32(2))
}

// The ceiling asked for, against corners and middles of the invented table worked
// out by hand, at 100, 60 and 80 % throttle.
func TestAskedIsTheTable(t *testing.T) {
	cal := proving.Car()
	h := byHand(cal)
	at := func(throttle, pressure int32, good bool) {
		h.f.In.Set(controller.Throttle, throttle)
		h.f.In.Set(controller.ManifoldPressure, pressure)
		h.f.In.Channels[controller.ManifoldPressure].Good = good
		h.tick()
	}
	at(10000, 100000, true) // a corner: 5,000
	at(10000, 250000, true) // beyond the last row: 4,600
	at(0, 20000, true)      // before the first of both: 6,000
	at(6000, 130000, true)  // between rows: (5,800+5,200)/2
	at(8000, 160000, true)  // between columns: (5,200+4,800)/2
	at(8000, 180000, true)  // between both: ((5,200+4,800)/2+(4,800+4,600)/2)/2
	at(8000, 180000, false) // unknown
	c, ok := stl.OfTrace(h.Trace, cal).Lookup("launch.asked")
	require.True(t, ok)
	assert.InDeltaSlice(t, []float64{5000, 4600, 6000, 5500, 5000, 4850}, c.Floats[:6], 1e-9)
	assert.True(t, math.IsNaN(c.Floats[6]), "an axis is bad")
}

// Channels and moments of a bench's own: hold edges, totals, openings, blindness.
func TestOwnChannels(t *testing.T) {
	cal := proving.Car()
	h := byHand(cal)
	step := func(brake, arm bool, phase controller.ShotPhase, speedGood bool) {
		h.f.In.Put(controller.TransBrake, brake)
		h.f.In.Put(controller.Arm, arm)
		h.f.In.Channels[controller.EngineSpeed].Good = speedGood
		h.f.Out.Shots[0].Phase = phase
		h.tick()
	}
	step(false, true, controller.ShotClosed, true)
	step(true, true, controller.ShotOpen, true)
	step(true, true, controller.ShotDraining, false)
	step(true, true, controller.ShotOpen, true)
	step(false, true, controller.ShotOpen, true)
	step(false, false, controller.ShotClosed, true)
	s := stl.OfTrace(h.Trace, cal)
	for name, want := range map[string][]int32{
		"hold":                   {0, 1, 1, 1, 0, 0},
		"shot1.open":             {0, 1, 0, 1, 1, 0},
		"shot1.loaded":           {0, 1, 1, 1, 1, 0},
		"shot1.open_total":       {0, 1, 1, 2, 3, 0},
		"shot1.openings_in_hold": {0, 1, 1, 2, 0, 0},
		"blind":                  {0, 0, 1, 0, 0, 0},
		"inputs_bad":             {0, 0, 1, 0, 0, 0},
		"shot1.input_bad":        {0, 0, 1, 0, 0, 0},
		"oxidiser":               {0, 1, 1, 1, 1, 0},
	} {
		assert.Equal(t, want, column(t, s, name), name)
	}
	for name, want := range map[string][]int{"hold_on": {1}, "let_go": {4}, "shot1.opened": {1, 3}, "shot1.shut": {2, 5}} {
		got, ok := s.Moments(name)
		require.True(t, ok, name)
		assert.Equal(t, want, got, name)
	}
	_, ok := s.Moments("nothing")
	assert.False(t, ok)
	_, ok = s.Lookup("nothing")
	assert.False(t, ok)
}

var backquoted = regexp.MustCompile("`([^`]+)`")

// The page that explains requirements is true: its file reads, its formulas bind
// to a real trace, and every channel and moment that it lists exists.
func TestRequirementsPage(t *testing.T) {
	page, err := os.ReadFile("REQUIREMENTS.md")
	require.NoError(t, err)
	blocks := strings.Split(string(page), "```")
	require.GreaterOrEqual(t, len(blocks), 5)
	cal := proving.Car()
	reqs, err := stl.Read(cal, "page.toml", []byte(strings.TrimPrefix(blocks[1], "toml\n")))
	require.NoError(t, err)
	_, err = stl.NewCourt(cal, reqs)
	require.NoError(t, err)
	sig := stl.OfTrace(harness.NewTrace(cal), cal)
	for _, line := range strings.Split(strings.TrimSpace(blocks[3]), "\n") {
		_, err := stl.Compile([]stl.Requirement{{ID: "page", Formula: line}}, sig)
		assert.NoError(t, err, line)
	}
	prefix := ""
	_, list, _ := strings.Cut(string(page), "## Channels")
	list, _, _ = strings.Cut(list, "A wrong name")
	for _, row := range strings.Split(list, "\n") {
		cells := strings.Split(row, "|")
		names := row
		if len(cells) > 2 {
			names = cells[1]
		}
		for _, m := range backquoted.FindAllStringSubmatch(names, -1) {
			name := m[1]
			if strings.HasPrefix(name, ".") {
				name = prefix + name
			} else if i := strings.LastIndex(name, "."); i >= 0 {
				prefix = name[:i]
			}
			if strings.Contains(name, " ") || name == "between" || name == "at" || name == "before" || name == "fold.go" || name == "stage.NAME" {
				continue
			}
			_, isChannel := sig.Lookup(name)
			_, isMoment := sig.Moments(name)
			assert.True(t, isChannel || isMoment, name)
		}
	}
}
