package files

import (
	"fmt"
	"strings"
)

// Vocabulary is what phrases can talk about. The caller supplies it, so that
// the grammar knows nothing of any particular controller or car.
type Vocabulary struct {
	Switches []Switch
	Channels []Channel
	Moments  []Moment
}

// Switch is something that is on or off, such as the clutch switch.
type Switch struct {
	ID       int
	Name     string // in plain words: "foot brake"
	Aliases  []string
	ReadOnly bool // may be asked for, not set
}

// Channel is something with a number, such as engine speed.
type Channel struct {
	ID       int
	Name     string
	Aliases  []string
	Units    []Scale // units that a phrase may use; the first is the one that is written
	Lo, Hi   int64   // allowed values that a phrase may set or compare with; equal: any 32-bit value
	ReadOnly bool    // may be asked for, not set
}

// Moment is something that holds or does not and that a phrase can only ask
// for: "release", "launch stage".
type Moment struct {
	ID      int
	Name    string
	Aliases []string
}

// TargetKind says which list of the vocabulary an ID belongs to.
type TargetKind uint8

// The three lists of a Vocabulary.
const (
	SwitchTarget TargetKind = iota
	ChannelTarget
	MomentTarget
)

// Target names one entry of a Vocabulary.
type Target struct {
	Kind TargetKind
	ID   int
}

// keywords cannot be part of a name.
var keywords = []string{
	"on", "off", "ramp", "to", "over", "at", "from", "when", "while", "after", "for", "until", "with", "scatter",
	"above", "below", "reaches", "falls", "and",
}

func isKeyword(word string) bool {
	for _, k := range keywords {
		if k == word {
			return true
		}
	}
	return false
}

// entry is one name or alias, as the words it consists of.
type entry struct {
	words  []string
	name   string // the name proper
	target Target
}

func (v *Vocabulary) entries() []entry {
	var all []entry
	add := func(t Target, name string, aliases []string) {
		for _, n := range append([]string{name}, aliases...) {
			all = append(all, entry{words: nameWords(n), name: name, target: t})
		}
	}
	for _, s := range v.Switches {
		add(Target{SwitchTarget, s.ID}, s.Name, s.Aliases)
	}
	for _, c := range v.Channels {
		add(Target{ChannelTarget, c.ID}, c.Name, c.Aliases)
	}
	for _, m := range v.Moments {
		add(Target{MomentTarget, m.ID}, m.Name, m.Aliases)
	}
	return all
}

func nameWords(name string) []string {
	var words []string
	for _, t := range lexPhrases(name) {
		if t.kind != endToken {
			words = append(words, strings.ToLower(t.text))
		}
	}
	return words
}

// Verify reports names that phrases could not tell apart or would take for
// something else. Call it in a test of each vocabulary.
func (v *Vocabulary) Verify() error {
	var faults []string
	seenName, seenID := map[string]bool{}, map[Target]string{}
	for _, e := range v.entries() {
		joined := strings.Join(e.words, " ")
		if joined == "" || seenName[joined] {
			faults = append(faults, fmt.Sprintf("name %q is empty or used twice", joined))
		}
		seenName[joined] = true
		if other, ok := seenID[e.target]; ok && other != e.name {
			faults = append(faults, fmt.Sprintf("%q and %q have the same ID", other, e.name))
		}
		seenID[e.target] = e.name
		if strings.ContainsAny(e.name, ";#\n") {
			faults = append(faults, fmt.Sprintf("%q has a character that ends a phrase", e.name))
		}
		faults = append(faults, wordFaults(e.words)...)
	}
	for _, c := range v.Channels {
		if len(c.Units) == 0 || !c.Units[0].reversible() {
			faults = append(faults, fmt.Sprintf("%q has no unit, or a first unit that cannot write every value", c.Name))
		}
		if lo, hi := c.limits(); lo > hi || lo < -1<<31 || hi > 1<<31-1 {
			faults = append(faults, fmt.Sprintf("the limits of %q are not a range of 32-bit values", c.Name))
		}
	}
	if len(faults) == 0 {
		return nil
	}
	return fmt.Errorf("vocabulary: %s", strings.Join(faults, "; "))
}

func wordFaults(words []string) []string {
	var faults []string
	for i, w := range words {
		switch {
		case isKeyword(w):
			faults = append(faults, fmt.Sprintf("%q is a word of the grammar", w))
		case i == 0 && !isLetter(w[0]):
			faults = append(faults, fmt.Sprintf("a name cannot start with %q", w))
		case i > 0 && !isLetter(w[0]) && i+1 < len(words):
			faults = append(faults, fmt.Sprintf("number %q must be the last word of its name", w))
		}
	}
	return faults
}

func (v *Vocabulary) channel(id int) *Channel {
	for i := range v.Channels {
		if v.Channels[i].ID == id {
			return &v.Channels[i]
		}
	}
	return nil
}

// name returns the written name of a target.
func (v *Vocabulary) name(t Target) string {
	switch t.Kind {
	case SwitchTarget:
		for _, s := range v.Switches {
			if s.ID == t.ID {
				return s.Name
			}
		}
	case ChannelTarget:
		if c := v.channel(t.ID); c != nil {
			return c.Name
		}
	case MomentTarget:
		for _, m := range v.Moments {
			if m.ID == t.ID {
				return m.Name
			}
		}
	}
	return "?"
}

func (v *Vocabulary) readOnly(t Target) bool {
	switch t.Kind {
	case SwitchTarget:
		for _, s := range v.Switches {
			if s.ID == t.ID {
				return s.ReadOnly
			}
		}
	case ChannelTarget:
		c := v.channel(t.ID)
		return c == nil || c.ReadOnly
	}
	return true
}

// unit finds a unit by name: as written first, then in any case.
func (c *Channel) unit(name string) (Scale, bool) {
	for _, u := range c.Units {
		if u.Unit == name {
			return u, true
		}
	}
	for _, u := range c.Units {
		if strings.EqualFold(u.Unit, name) {
			return u, true
		}
	}
	return Scale{}, false
}

func (c *Channel) unitNames() []string {
	names := make([]string, len(c.Units))
	for i, u := range c.Units {
		names[i] = u.Unit
	}
	return names
}

func (c *Channel) limits() (lo, hi int64) {
	if c.Lo == c.Hi {
		return -1 << 31, 1<<31 - 1
	}
	return c.Lo, c.Hi
}

// Describe lists the names that phrases can use, with aliases and units, one
// a line.
func (v *Vocabulary) Describe() string {
	var out strings.Builder
	show := func(t Target, name string, aliases, units []string) {
		kind := "condition only"
		if !v.readOnly(t) {
			kind = "can be set"
		}
		fmt.Fprintf(&out, "%-22s %-9s %-15s", name, [...]string{"on or off", "number", "moment"}[t.Kind], kind)
		out.WriteString(joinNonEmpty("; ", prefixed(" in ", units), prefixed(" also ", aliases)))
		out.WriteByte('\n')
	}
	for _, s := range v.Switches {
		show(Target{SwitchTarget, s.ID}, s.Name, s.Aliases, nil)
	}
	for _, c := range v.Channels {
		show(Target{ChannelTarget, c.ID}, c.Name, c.Aliases, c.unitNames())
	}
	for _, m := range v.Moments {
		show(Target{MomentTarget, m.ID}, m.Name, m.Aliases, nil)
	}
	return out.String()
}

func prefixed(prefix string, words []string) string {
	list := strings.Join(words, ", ")
	if list == "" {
		return ""
	}
	return prefix + list
}
