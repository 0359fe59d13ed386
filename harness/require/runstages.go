package require

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// StageRole is the name under which formulas know a stage: launch, burnout,
// after_release, shift and main, or stage.NAME for a user stage and for a second
// one of a kind.
func StageRole(cal *controller.Calibration, i int) string {
	kind := cal.Stages[i].Kind
	role := spell(harness.KindName(kind))
	if kind == controller.User {
		return "stage." + spell(harness.Slug(harness.StageName(cal, i)))
	}
	for j := range i {
		if cal.Stages[j].Kind == kind {
			return "stage." + spell(harness.Slug(harness.StageName(cal, i)))
		}
	}
	return role
}

func (s *RunSignals) addStages() {
	active, cut, demand := s.lazy("stages-active"), s.lazy("cut-stage"), s.lazy("demand")
	bad, lost := s.lazy("channels-bad"), s.lazy("switches-lost")
	for i := range s.cal.Stages {
		st := &s.cal.Stages[i]
		if st.Kind == controller.NoStage {
			continue
		}
		role, name := StageRole(s.cal, i), "stage-"+harness.Slug(harness.StageName(s.cal, i))
		s.bit(role+".active", func(t int) bool { return active()[t]>>i&1 != 0 })
		s.bit(role+".cutting", func(t int) bool { return demand()[t] > 0 && int(cut()[t]) == i })
		s.ints(role+".ceiling", Column{Unit: "rpm", PerUnit: 10}, func(out []int32) { copy(out, s.raw(name+"-ceiling")) })
		s.bit(role+".steady", s.steady(s.lazy(name+"-ceiling"), active, i))
		s.ints(role+".inhibits", Column{Kind: Flags, Labels: stageReasons}, func(out []int32) { copy(out, s.raw(name+"-inhibits")) })
		channels, switches := needsOf(s.cal, st)
		s.bit(role+".input_bad", func(t int) bool {
			return bad()[t]&int32(channels) != 0 || lost()[t]&int32(switches) != 0
		})
		s.add(role+".asked", Column{Unit: "rpm"}, func(e *entry) { e.col.Floats = s.curve(st.Ceiling, 10) })
	}
}

// steady tells whether a stage has been active for 0.6 s with a ceiling that
// moved by no more than 50 rpm.
func (s *RunSignals) steady(ceiling, active func() []int32, stage int) func(int) bool {
	const width = int32(50 * controller.RPM)
	long := int(600 * int64(controller.Millisecond) / int64(max(s.trace.Period, 1)))
	since, low, high := 0, int32(0), int32(0)
	return func(t int) bool {
		n := ceiling()[t]
		if t == 0 || active()[t]>>stage&1 == 0 {
			since, low, high = t, n, n
		}
		if low, high = min(low, n), max(high, n); high-low > width {
			since, low, high = t, n, n
		}
		return t-since >= long
	}
}

// needsOf lists the inputs that a stage's condition and ceiling read.
func needsOf(cal *controller.Calibration, st *controller.Stage) (ch controller.ChannelSet, sw controller.SwitchSet) {
	for _, terms := range [2]*[controller.MaxTerms]controller.Term{&st.When.All, &st.When.Any} {
		for _, t := range terms {
			switch t.Kind {
			case controller.SwitchOn, controller.SwitchOff:
				sw |= 1 << t.Switch
			case controller.Within:
				ch |= 1 << t.Channel
			}
		}
	}
	if st.Ceiling.Table > 0 {
		tb := &cal.Tables[(st.Ceiling.Table-1)%controller.MaxTables]
		ch |= axisNeeds(&tb.Columns) | axisNeeds(&tb.Rows)
	}
	for c := range controller.NumChannels {
		if !cal.Channels[c].Fitted {
			ch &^= 1 << c
		}
	}
	return ch, sw & cal.Switches
}

func axisNeeds(a *controller.Axis) controller.ChannelSet {
	if a.N == 0 || a.Channel >= controller.NumChannels {
		return 0
	}
	return 1 << a.Channel
}
