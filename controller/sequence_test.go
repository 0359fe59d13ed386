package controller

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Small timers let the whole launch sequence be walked.
var walkedSequence = Sequence{Hold: HoldClutch, t: sequenceTicks{earn: 3, abort: 2, clear: 3, endLift: 3, endAfter: 6}}

// sequenceMonitor judges the sequence from inputs and outputs alone. Its
// counters are its own and say how long something has been seen.
type sequenceMonitor struct {
	state   SequenceState
	holding bool  // a hold that may become a launch is being watched
	held    uint8 // ticks of it
	near    bool  // speed was near the ceiling in it
	closed  bool  // the throttle has been closed since the last launch
	low     uint8 // ticks of low throttle while held, or of a lift after release
	clear   uint8 // ticks of hold off and throttle closed after an abort
	since   uint8 // ticks since release
}

func upTo(cond bool, n, limit uint8) uint8 { return uint8(countIf(cond, uint32(n), 1, uint32(limit))) }

// watch takes one step's inputs and outputs and says what the step should have
// done, from the text of the launch sequence.
func (m *sequenceMonitor) watch(in sequenceInput, got SequenceState, marks Marks, since uint32) string {
	want, wantMarks := m.state, Marks(0)
	switch m.state {
	case Idle:
		m.closed = m.closed || in.shut == yes
		started := m.holding
		switch {
		case in.hold != yes || !m.closed:
			if m.holding && in.hold == no {
				wantMarks = MarkBump
			}
			m.holding, m.held, m.near = false, 0, false
		case m.holding || in.entry:
			m.holding = true
			m.near = m.near || in.near
			if started {
				m.held = upTo(true, m.held, 3)
			}
			if m.held == 3 && m.near && in.open == yes && !in.fail {
				want, wantMarks = Held, MarkEarned
			}
		}
	case Held:
		m.low = upTo(in.open != yes, m.low, 2)
		switch {
		case in.hold == no && !in.fail:
			want, wantMarks = Released, MarkReleased
		case in.fail, in.hold == unknown, in.open == unknown, m.low == 2:
			want, wantMarks = Aborted, MarkAborted
		}
	case Released:
		m.since = upTo(true, m.since, 6)
		m.low = upTo(in.open == no, m.low, 3)
		if m.low == 3 || in.brake || m.since == 6 {
			want, wantMarks = Ended, MarkEnded
		}
	case Ended:
		if in.shut == yes {
			want = Idle
		}
	case Aborted:
		m.clear = upTo(in.hold == no && in.shut == yes, m.clear, 3)
		if m.clear == 3 {
			want = Idle
		}
	}
	if got != want || marks != wantMarks {
		return fmt.Sprintf("from %v with %+v: %v %05b instead of %v %05b (%+v)", m.state, in, got, marks, want, wantMarks, *m)
	}
	if got == Released && since != uint32(m.since)*uint32(b2i(m.state == Released)) {
		return fmt.Sprintf("%d ticks since release instead of %d", since, m.since)
	}
	if got != m.state {
		*m = sequenceMonitor{state: got, closed: got == Idle, since: m.since * uint8(b2i(got == Ended))}
	}
	return ""
}

// sequenceInputs lists every combination; the throttle is closed, between, open
// or lost.
func sequenceInputs() (all []sequenceInput) {
	for _, hold := range []truth{no, unknown, yes} {
		for _, throttle := range [][2]truth{{no, yes}, {no, no}, {yes, no}, {unknown, unknown}} {
			for bits := range 16 {
				all = append(all, sequenceInput{
					hold: hold, open: throttle[0], shut: throttle[1],
					near: bits&1 != 0, entry: bits&2 != 0, fail: bits&4 != 0, brake: bits&8 != 0,
				})
			}
		}
	}
	return all
}

type sequenceNode struct {
	s sequenceState
	m sequenceMonitor
}

// walkSequence visits every state that the sequence can reach, in product with
// the monitor, and returns the number of states and edges, which changes of
// state were seen, and the first complaint.
func walkSequence(step func(*sequenceState, sequenceInput) Marks) (states, edges int, changes map[[2]SequenceState]bool, complaint string) {
	seen := map[sequenceNode]bool{{}: true}
	queue := []sequenceNode{{}}
	changes = map[[2]SequenceState]bool{}
	inputs := sequenceInputs()
	for len(queue) > 0 {
		at := queue[0]
		queue = queue[1:]
		for _, in := range inputs {
			next := at
			marks := step(&next.s, in)
			edges++
			changes[[2]SequenceState{at.s.state, next.s.state}] = true
			if complaint = next.m.watch(in, next.s.state, marks, next.s.since); complaint != "" {
				return len(seen), edges, changes, complaint
			}
			if !seen[next] {
				seen[next] = true
				queue = append(queue, next)
			}
		}
	}
	return len(seen), edges, changes, ""
}

func sequenceStep(s *sequenceState, in sequenceInput) Marks { return s.step(&walkedSequence, in, 1) }

func TestSequenceWalk(t *testing.T) {
	states, edges, changes, complaint := walkSequence(sequenceStep)
	require.Empty(t, complaint)
	t.Logf("%d states, %d edges", states, edges)
	legal := map[[2]SequenceState]bool{
		{Idle, Held}: true, {Held, Released}: true, {Held, Aborted}: true,
		{Released, Ended}: true, {Ended, Idle}: true, {Aborted, Idle}: true,
	}
	for s := range numSequenceStates {
		legal[[2]SequenceState{s, s}] = true
	}
	assert.Equal(t, legal, changes, "each legal edge, and no other")
}

func TestSequenceWalkFindsPlantedFaults(t *testing.T) {
	faults := map[string]func(*sequenceState, sequenceInput) Marks{
		"a let-go is debounced": func(s *sequenceState, in sequenceInput) Marks {
			if s.state == Held && in.hold == no && s.low == 0 {
				s.low = 1
				return 0
			}
			return sequenceStep(s, in)
		},
		"a bump releases": func(s *sequenceState, in sequenceInput) Marks {
			marks := sequenceStep(s, in)
			if marks == MarkBump {
				*s = sequenceState{state: Released}
			}
			return marks
		},
		"re-entry with the throttle open": func(s *sequenceState, in sequenceInput) Marks {
			if s.state == Ended {
				s.enterIdle()
				return 0
			}
			return sequenceStep(s, in)
		},
		"an abort is not latched": func(s *sequenceState, in sequenceInput) Marks {
			if s.state == Aborted && in.hold == no {
				s.enterIdle()
				return 0
			}
			return sequenceStep(s, in)
		},
		"the hold time survives a bump": func(s *sequenceState, in sequenceInput) Marks {
			earn := s.earn
			marks := sequenceStep(s, in)
			if marks == MarkBump {
				s.earn = earn
			}
			return marks
		},
	}
	for name, fault := range faults {
		_, _, _, complaint := walkSequence(fault)
		assert.NotEmpty(t, complaint, name)
	}
}

// A tick that stands for several periods moves every timer by as many.
func TestSequenceSkippedTicksMoveTheTimers(t *testing.T) {
	on := sequenceInput{hold: yes, open: yes, near: true, entry: true}
	var s sequenceState
	s.step(&walkedSequence, sequenceInput{shut: yes}, 1)
	s.step(&walkedSequence, on, 1)
	assert.Equal(t, MarkEarned, s.step(&walkedSequence, on, 3))
	s.step(&walkedSequence, sequenceInput{open: yes}, 1)
	s.step(&walkedSequence, sequenceInput{open: yes}, 4)
	assert.EqualValues(t, 4, s.since)
	assert.Equal(t, MarkEnded, s.step(&walkedSequence, sequenceInput{open: yes}, 1000))
	assert.EqualValues(t, 6, s.since, "saturates")
}
