package files

import "strings"

// Script is a list of actions on switches and channels, as written in phrases.
type Script struct {
	Vocabulary *Vocabulary
	Actions    []Action
}

// Action sets one switch or channel. Of all actions on a target that are in
// force, the one that started last counts; of two that started together, the
// later one of the script. An action without an end stays in force.
type Action struct {
	Target  Target
	On      bool  // of a switch
	Value   int64 // of a channel, in integers of the caller; the end of a ramp
	Ramp    Ramp
	Trigger Trigger
	End     End

	// ScatterUs moves the start by up to so many microseconds either way,
	// drawn evenly at each reset of the Player. 0: none.
	ScatterUs int64

	Pos Pos // of the phrase in its text
}

// Ramp moves a channel evenly from From, or from its present value, to the
// action's Value. A zero OverUs means no ramp.
type Ramp struct {
	FromPresent bool
	From        int64
	OverUs      int64 // microseconds, up to maxRampUs
}

// TriggerKind says what starts an action.
type TriggerKind uint8

const (
	// AtTime starts an action once, at a time.
	AtTime TriggerKind = iota
	// When starts it once, the first time a condition holds, after a delay.
	When
	// While keeps it in force whenever a condition holds.
	While
)

// Trigger is what starts an action.
type Trigger struct {
	Kind   TriggerKind
	TimeUs int64 // AtTime: time of the run; When: delay after the condition was first seen
	Tests  []Test
}

// EndKind says what ends an action.
type EndKind uint8

const (
	// Never leaves it in force, until another action on the target starts.
	Never EndKind = iota
	// For ends it a time after its start.
	For
	// UntilTime ends it at a time of the run.
	UntilTime
	// UntilTests ends it when a condition holds, from the tick after the start.
	UntilTests
)

// End is what ends an action.
type End struct {
	Kind   EndKind
	TimeUs int64
	Tests  []Test
}

// Compare is how a test looks at its subject.
type Compare uint8

// A channel is compared with Above (>), Below (<), Reaches (>=) or FallsTo
// (<=); a switch is tested with IsOn or IsOff; a moment with Holds. A channel
// without a valid value passes no test.
const (
	Above Compare = iota
	Below
	Reaches
	FallsTo
	IsOn
	IsOff
	Holds
)

var compareWords = [...]string{"above", "below", "reaches", "falls to", "on", "off", ""}

// Test is one comparison. All tests of a condition must pass.
type Test struct {
	Subject Target
	Compare Compare
	Value   int64 // for a channel
}

// String writes the script in its canonical form, one phrase a line. Parsing
// that gives the same actions again.
func (s *Script) String() string {
	var out strings.Builder
	for i := range s.Actions {
		out.WriteString(s.Phrase(i))
		out.WriteByte('\n')
	}
	return out.String()
}

// Phrase writes action i in its canonical form.
func (s *Script) Phrase(i int) string {
	a := &s.Actions[i]
	v := s.Vocabulary
	parts := []string{v.name(a.Target), v.setting(a)}
	parts = append(parts, v.when(a)...)
	if a.ScatterUs > 0 {
		parts = append(parts, "with scatter "+seconds(a.ScatterUs))
	}
	return strings.Join(parts, " ")
}

func (v *Vocabulary) setting(a *Action) string {
	switch {
	case a.Target.Kind == SwitchTarget && a.On:
		return "on"
	case a.Target.Kind == SwitchTarget:
		return "off"
	case a.Ramp.OverUs == 0:
		return v.value(a.Target, a.Value)
	}
	from := ""
	if !a.Ramp.FromPresent {
		from = v.value(a.Target, a.Ramp.From) + " "
	}
	return "ramp " + from + "to " + v.value(a.Target, a.Value) + " over " + seconds(a.Ramp.OverUs)
}

func (v *Vocabulary) value(t Target, n int64) string {
	c := v.channel(t.ID)
	if c == nil || len(c.Units) == 0 {
		return Number.Format(n)
	}
	return c.Units[0].Shown(n)
}

func (v *Vocabulary) when(a *Action) []string {
	t, e := a.Trigger, a.End
	if t.Kind == AtTime && e.Kind == UntilTime {
		return []string{"from", seconds(t.TimeUs), "to", seconds(e.TimeUs)}
	}
	var parts []string
	switch {
	case t.Kind == AtTime:
		parts = append(parts, "at", seconds(t.TimeUs))
	case t.Kind == While:
		parts = append(parts, "while", v.tests(t.Tests))
	case t.TimeUs > 0:
		parts = append(parts, seconds(t.TimeUs), "after", v.tests(t.Tests))
	case len(t.Tests) == 1 && t.Tests[0].Compare == Holds:
		parts = append(parts, "at", v.tests(t.Tests))
	default:
		parts = append(parts, "when", v.tests(t.Tests))
	}
	switch e.Kind {
	case For:
		parts = append(parts, "for", seconds(e.TimeUs))
	case UntilTime:
		parts = append(parts, "until", seconds(e.TimeUs))
	case UntilTests:
		parts = append(parts, "until", v.tests(e.Tests))
	}
	return parts
}

func (v *Vocabulary) tests(tests []Test) string {
	var parts []string
	for _, t := range tests {
		part := joinNonEmpty(" ", v.name(t.Subject), compareWords[t.Compare])
		if t.Subject.Kind == ChannelTarget {
			part += " " + v.value(t.Subject, t.Value)
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, " and ")
}

func seconds(us int64) string { return SecondsInUs.Shown(us) }
