package files

// Present gives a Player the values that its conditions ask for, by the IDs
// and in the integers of the vocabulary. A false ok means that a channel has
// no valid value now.
type Present interface {
	Switch(id int) bool
	Channel(id int) (value int64, ok bool)
	Moment(id int) bool
}

// Random gives a Player the numbers for scattered starts. Give each run its
// own seeded generator, so that it can be repeated.
type Random interface{ Uint64() uint64 }

// Player runs a script tick by tick. It allocates nothing after NewPlayer and
// gives the same outputs for the same times, values and random numbers.
type Player struct {
	actions []Action
	states  []actionState
	outputs []Output
}

// Output is what a script says about one of its targets now.
type Output struct {
	Target   Target
	Scripted bool  // an action on the target is in force
	On       bool  // of a switch
	Value    int64 // of a channel

	best int64 // start of the action in force
}

// actionState is what a Player remembers of one action.
type actionState struct {
	phase   phase
	output  int   // index of its target in outputs
	startUs int64 // waiting: when it is due; active: when it started
	from    int64 // where its ramp starts
	scatter int64 // drawn at reset
}

type phase uint8

const (
	dormant phase = iota // condition not yet seen
	waiting              // due at startUs
	active
	done
)

// NewPlayer makes a Player at the start of a run. r may be nil if no phrase
// has a scatter, or if scatter is not wanted.
func NewPlayer(s *Script, r Random) *Player {
	p := &Player{actions: s.Actions, states: make([]actionState, len(s.Actions))}
	for i := range s.Actions {
		p.states[i].output = p.outputOf(s.Actions[i].Target)
	}
	p.Reset(r)
	return p
}

func (p *Player) outputOf(t Target) int {
	for i := range p.outputs {
		if p.outputs[i].Target == t {
			return i
		}
	}
	p.outputs = append(p.outputs, Output{Target: t})
	return len(p.outputs) - 1
}

// Reset puts the player back to the start of a run and draws the scatter of
// the run from r, one number for each scattered phrase in their order.
func (p *Player) Reset(r Random) {
	for i := range p.states {
		a, st := &p.actions[i], &p.states[i]
		*st = actionState{output: st.output}
		if a.ScatterUs > 0 && r != nil {
			st.scatter = int64(r.Uint64()%uint64(2*a.ScatterUs+1)) - a.ScatterUs
		}
		if a.Trigger.Kind == AtTime {
			st.phase, st.startUs = waiting, a.Trigger.TimeUs+st.scatter
		}
	}
	for i := range p.outputs {
		p.outputs[i] = Output{Target: p.outputs[i].Target}
	}
}

// Tick brings the outputs to time nowUs, in microseconds of the run. Times
// must not go back between resets. Conditions see the values of now.
func (p *Player) Tick(nowUs int64, now Present) {
	for i := range p.actions {
		p.advance(i, nowUs, now)
	}
	for i := range p.outputs {
		p.outputs[i].Scripted = false
	}
	for i := range p.actions {
		p.apply(i, nowUs)
	}
}

// Outputs lists what the script says about each of its targets, in the order
// in which they first appear in it. The slice is the player's own.
func (p *Player) Outputs() []Output { return p.outputs }

// Switch returns what the script says about a switch now.
func (p *Player) Switch(id int) (on, scripted bool) {
	o := p.find(Target{SwitchTarget, id})
	return o.On, o.Scripted
}

// Channel returns what the script says about a channel now.
func (p *Player) Channel(id int) (value int64, scripted bool) {
	o := p.find(Target{ChannelTarget, id})
	return o.Value, o.Scripted
}

func (p *Player) find(t Target) Output {
	for i := range p.outputs {
		if p.outputs[i].Target == t {
			return p.outputs[i]
		}
	}
	return Output{}
}

// advance moves one action through its phases, as many as are due.
func (p *Player) advance(i int, nowUs int64, now Present) {
	a, st := &p.actions[i], &p.states[i]
	if st.phase == active && p.over(a, st, nowUs, now) {
		st.phase = done
		if a.Trigger.Kind == While {
			st.phase = dormant
		}
		return
	}
	if st.phase == dormant && pass(a.Trigger.Tests, now) {
		st.phase, st.startUs = waiting, nowUs
		if a.Trigger.Kind == When {
			st.startUs = max(nowUs, nowUs+a.Trigger.TimeUs+st.scatter)
		}
	}
	if st.phase == waiting && nowUs >= st.startUs {
		st.phase = active
		p.start(a, st, now)
		if ended(a, st, nowUs) { // the tick came too late to see it
			st.phase = done
		}
	}
}

// start notes where a ramp begins.
func (p *Player) start(a *Action, st *actionState, now Present) {
	st.from = a.Ramp.From
	if !a.Ramp.FromPresent || a.Ramp.OverUs == 0 {
		return
	}
	if o := &p.outputs[st.output]; o.Scripted {
		st.from = o.Value
	} else if v, ok := now.Channel(a.Target.ID); ok {
		st.from = min(max(v, -1<<31), 1<<31-1)
	} else {
		st.from = a.Value
	}
}

func (p *Player) over(a *Action, st *actionState, nowUs int64, now Present) bool {
	switch {
	case a.Trigger.Kind == While:
		return !pass(a.Trigger.Tests, now)
	case a.End.Kind == UntilTests:
		return pass(a.End.Tests, now)
	}
	return ended(a, st, nowUs)
}

// ended reports whether an end by time is reached.
func ended(a *Action, st *actionState, nowUs int64) bool {
	switch a.End.Kind {
	case For:
		return nowUs >= st.startUs+a.End.TimeUs
	case UntilTime:
		return nowUs >= a.End.TimeUs
	}
	return false
}

// apply lets an active action set its output, unless one that started later
// has done so.
func (p *Player) apply(i int, nowUs int64) {
	a, st := &p.actions[i], &p.states[i]
	o := &p.outputs[st.output]
	if st.phase != active || o.Scripted && st.startUs < o.best {
		return
	}
	o.Scripted, o.best, o.On, o.Value = true, st.startUs, a.On, a.valueAt(st, nowUs)
}

func (a *Action) valueAt(st *actionState, nowUs int64) int64 {
	gone := nowUs - st.startUs
	if gone >= a.Ramp.OverUs {
		return a.Value
	}
	return st.from + (a.Value-st.from)*gone/a.Ramp.OverUs
}

func pass(tests []Test, now Present) bool {
	for i := range tests {
		if !tests[i].pass(now) {
			return false
		}
	}
	return true
}

func (t *Test) pass(now Present) bool {
	switch t.Subject.Kind {
	case SwitchTarget:
		return now.Switch(t.Subject.ID) == (t.Compare == IsOn)
	case MomentTarget:
		return now.Moment(t.Subject.ID)
	}
	v, ok := now.Channel(t.Subject.ID)
	if !ok {
		return false
	}
	switch t.Compare {
	case Above:
		return v > t.Value
	case Below:
		return v < t.Value
	case Reaches:
		return v >= t.Value
	}
	return v <= t.Value
}
