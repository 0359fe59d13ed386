package require

import (
	"sort"
	"strings"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// RunSignals is a harness.Trace as formulas see it: its columns under names
// that formulas can spell, what its commits add up to tick by tick, and the
// moments of the run. Columns are lent, not copied; what has to be derived is
// derived when a formula first asks for it.
//
// A column engine-speed becomes engine_speed; shot-1-duty becomes shot1.duty; the
// columns of a stage go by its role: launch.ceiling, main.ceiling,
// after_release.active, and stage.NAME.ceiling for a user stage. Names lists
// all.
type RunSignals struct {
	trace   *harness.Trace
	cal     *controller.Calibration
	stopped bool
	entries map[string]*entry
	names   []string
	marks   map[string]func() []int
	moments []string
	ticks   map[string][]int
	folded  *commitFold
}

// entry is one channel; make derives its samples on first use.
type entry struct {
	col  Column
	make func(*entry)
}

// OfTrace prepares the signals of a run of a unit that was given cal.
func OfTrace(tr *harness.Trace, cal *controller.Calibration) *RunSignals {
	s := &RunSignals{trace: tr, cal: cal, entries: make(map[string]*entry, 160), marks: map[string]func() []int{}, ticks: map[string][]int{}}
	s.addColumns()
	s.addSwitches()
	s.addStages()
	s.addShots()
	s.addFold()
	s.addDoubt()
	s.addMoments()
	return s
}

// Stopped says that the trace ended before the run did, so that what was not
// seen stays open.
func (s *RunSignals) Stopped() *RunSignals {
	s.stopped = true
	return s
}

// Len implements Signals.
func (s *RunSignals) Len() int { return s.trace.Ticks }

// Period implements Signals.
func (s *RunSignals) Period() time.Duration {
	return time.Duration(s.trace.Period) * time.Microsecond
}

// Complete implements Signals.
func (s *RunSignals) Complete() bool { return !s.stopped }

// Lookup implements Signals.
func (s *RunSignals) Lookup(name string) (Column, bool) {
	e, ok := s.entries[name]
	if !ok {
		return Column{}, false
	}
	if e.make != nil {
		e.make(e)
		e.make = nil
	}
	return e.col, true
}

// Moments implements Signals.
func (s *RunSignals) Moments(name string) ([]int, bool) {
	find, ok := s.marks[name]
	if !ok {
		return nil, false
	}
	if _, known := s.ticks[name]; !known {
		s.ticks[name] = find()
	}
	return s.ticks[name], true
}

// Names implements Signals.
func (s *RunSignals) Names() (channels, moments []string) { return s.names, s.moments }

func (s *RunSignals) add(name string, c Column, derive func(*entry)) {
	if _, taken := s.entries[name]; taken {
		return
	}
	s.entries[name] = &entry{col: c, make: derive}
	s.names = append(s.names, name)
}

// ints adds a channel of whole numbers that is derived on first use.
func (s *RunSignals) ints(name string, c Column, derive func(out []int32)) {
	s.add(name, c, func(e *entry) {
		e.col.Ints = make([]int32, s.trace.Ticks)
		derive(e.col.Ints)
	})
}

// bit adds a switch that is derived on first use.
func (s *RunSignals) bit(name string, on func(t int) bool) {
	s.ints(name, Column{Kind: Switch}, func(out []int32) {
		for t := range out {
			if on(t) {
				out[t] = 1
			}
		}
	})
}

// raw gives a column's integers; zeros if the trace has no such column.
func (s *RunSignals) raw(name string) []int32 {
	if c := s.trace.Column(name); c != nil && len(c.Data) >= s.trace.Ticks {
		return c.Data[:s.trace.Ticks]
	}
	return make([]int32, s.trace.Ticks)
}

// spell turns a name of the harness into one of formulas.
func spell(name string) string { return strings.ReplaceAll(name, "-", "_") }

func (s *RunSignals) addColumns() {
	for i := range s.trace.Columns {
		c := &s.trace.Columns[i]
		if strings.HasPrefix(c.Name, "stage-") || strings.HasPrefix(c.Name, "shot-") {
			continue
		}
		s.add(spell(c.Name), s.lend(c), nil)
	}
}

// lend describes a column of the trace without copying it.
func (s *RunSignals) lend(c *harness.Column) Column {
	out := Column{Unit: c.Unit, PerUnit: c.Per, Ints: c.Data}
	if c.Data == nil {
		out.Ints = []int32{}
	}
	if w, ok := columnWords[c.Name]; ok {
		out.Kind, out.Labels = w.kind, w.labels
	}
	return out
}

type wordList struct {
	kind   Kind
	labels []string
}

// columnWords names the values of the columns that are no quantities.
var columnWords = func() map[string]wordList {
	var channels, switches, speeds, sequences []string
	for c := range controller.NumChannels {
		channels = append(channels, spell(harness.Channels[c].Name))
	}
	for _, name := range harness.Switches {
		switches = append(switches, spell(name))
	}
	for x := controller.SpeedUnseen; x <= controller.SpeedWithheld; x++ {
		speeds = append(speeds, spell(x.String()))
	}
	for x := controller.Idle; x <= controller.Aborted; x++ {
		sequences = append(sequences, spell(x.String()))
	}
	return map[string]wordList{
		"switches": {Flags, switches}, "switches-lost": {Flags, switches},
		"channels-lost": {Flags, channels}, "channels-bad": {Flags, channels},
		"sequence": {State, sequences}, "speed-state": {State, speeds},
		"medium":       {State, []string{"none", "fuel", "spark", "both"}},
		"marks":        {Flags, []string{"earned", "released", "bump", "aborted", "ended"}},
		"faults":       {Flags, bitNames(8, func(i int) string { return controller.Faults(1 << i).Name() })},
		"master-valve": {Switch, nil}, "restarted": {Switch, nil},
	}
}()

// bitNames spells the bits of a set in order; bits without a name end it.
func bitNames(n int, name func(int) string) (list []string) {
	for i := range n {
		if name(i) == "" {
			break
		}
		list = append(list, spell(name(i)))
	}
	return list
}

var (
	stageReasons = bitNames(16, func(i int) string { return controller.StageInhibits(1 << i).Name() })
	shotReasons  = bitNames(32, func(i int) string { return controller.ShotInhibits(1 << i).Name() })
	shotPhases   = []string{"closed", "leading", "open", "draining"}
)

// addSwitches adds each fitted switch by its name, whether it is lost, and the
// same of the hold input whatever it is.
func (s *RunSignals) addSwitches() {
	on, lost := s.lazy("switches"), s.lazy("switches-lost")
	for sw := range controller.NumSwitches {
		if !s.cal.Switches.Has(sw) {
			continue
		}
		name := spell(harness.Switches[sw])
		s.bit(name, func(t int) bool { return on()[t]>>sw&1 != 0 })
		s.bit(name+"_lost", func(t int) bool { return lost()[t]>>sw&1 != 0 })
	}
	bad := s.lazy("channels-bad")
	s.bit("inputs_bad", func(t int) bool { return bad()[t] != 0 || lost()[t] != 0 })
	if sw, ok := holdSwitch(s.cal); ok {
		s.bit("hold", func(t int) bool { return on()[t]>>sw&1 != 0 })
		s.bit("hold_lost", func(t int) bool { return lost()[t]>>sw&1 != 0 })
	} else if s.cal.Sequence.Hold == controller.HoldBrakePressure {
		p, least := s.lazy("brake-pressure"), int32(s.cal.Sequence.HoldPressure)
		s.bit("hold", func(t int) bool { return p()[t] >= least && bad()[t]>>controller.BrakePressure&1 == 0 })
		s.bit("hold_lost", func(t int) bool { return bad()[t]>>controller.BrakePressure&1 != 0 })
	}
	s.bit("blind", s.blind())
}

// lazy reads a raw column when it is first needed.
func (s *RunSignals) lazy(name string) func() []int32 {
	var data []int32
	return func() []int32 {
		if data == nil {
			data = s.raw(name)
		}
		return data
	}
}

func holdSwitch(cal *controller.Calibration) (controller.Switch, bool) {
	switch cal.Sequence.Hold {
	case controller.HoldClutch:
		return controller.ClutchDown, true
	case controller.HoldTransBrake:
		return controller.TransBrake, true
	case controller.HoldFootBrake:
		return controller.FootBrake, true
	}
	return 0, false
}

// blind tells whether engine speed is bad now and the engine ran, not cranked,
// when it was last good.
func (s *RunSignals) blind() func(int) bool {
	var bad, speed []int32
	ran := false
	return func(t int) bool {
		if t == 0 {
			bad, speed, ran = s.raw("channels-bad"), s.raw("engine-speed"), false
		}
		if bad[t]>>controller.EngineSpeed&1 != 0 {
			return ran
		}
		ran = speed[t] >= int32(s.cal.Engine.CrankingBelow)
		return false
	}
}

// addMoments names what comes at one tick: the steps of the sequence, edges of
// the hold input, stages entered and left, shots opened and closed.
func (s *RunSignals) addMoments() {
	for x := controller.Idle; x <= controller.Aborted; x++ {
		name := map[controller.SequenceState]string{controller.Held: "earned"}[x]
		if name == "" {
			name = x.String()
		}
		s.moment(name, func() []int { return changes(s.raw("sequence"), func(v int32) bool { return v == int32(x) }) })
	}
	s.moment("bump", func() []int {
		return where(s.raw("marks"), func(v int32) bool { return v&int32(controller.MarkBump) != 0 })
	})
	for _, name := range append([]string(nil), s.names...) {
		if role, ok := strings.CutSuffix(name, ".active"); ok {
			s.edges(name, role+".entered", role+".left")
		}
		if shot, ok := strings.CutSuffix(name, ".open"); ok {
			s.edges(name, shot+".opened", shot+".shut")
		}
	}
	if _, ok := s.entries["hold"]; ok {
		s.edges("hold", "hold_on", "let_go")
		s.fromStart("hold_on", "hold")
	}
	sort.Strings(s.moments)
}

func (s *RunSignals) moment(name string, find func() []int) {
	s.marks[name] = find
	s.moments = append(s.moments, name)
}

// edges names the moments at which a switch comes on and goes off.
func (s *RunSignals) edges(name, on, off string) {
	column := func() []int32 { c, _ := s.Lookup(name); return c.Ints }
	s.moment(on, func() []int { return changes(column(), func(v int32) bool { return v != 0 }) })
	s.moment(off, func() []int { return changes(column(), func(v int32) bool { return v == 0 }) })
}

// fromStart lets a moment come at the first tick too, if its switch is on there:
// a run may begin with the clutch down.
func (s *RunSignals) fromStart(moment, name string) {
	edges := s.marks[moment]
	s.marks[moment] = func() []int {
		if c, _ := s.Lookup(name); len(c.Ints) > 0 && c.Ints[0] != 0 {
			return append([]int{0}, edges()...)
		}
		return edges()
	}
}

// changes lists the ticks at which a property of a column becomes true; it can
// not become true at the first tick.
func changes(data []int32, is func(int32) bool) (ticks []int) {
	for t := 1; t < len(data); t++ {
		if data[t] != data[t-1] && is(data[t]) && !is(data[t-1]) {
			ticks = append(ticks, t)
		}
	}
	return ticks
}

func where(data []int32, is func(int32) bool) (ticks []int) {
	for t, v := range data {
		if is(v) {
			ticks = append(ticks, t)
		}
	}
	return ticks
}
