package files

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// genScript draws any script that the grammar can say.
func genScript(t *rapid.T) *Script {
	s := &Script{Vocabulary: testWords}
	for range rapid.IntRange(1, 4).Draw(t, "phrases") {
		s.Actions = append(s.Actions, genAction(t))
	}
	return s
}

func genAction(t *rapid.T) Action {
	var a Action
	if rapid.Bool().Draw(t, "switch") {
		a.Target = Target{SwitchTarget, rapid.IntRange(0, 3).Draw(t, "id")}
		a.On = rapid.Bool().Draw(t, "on")
	} else {
		a.Target = Target{ChannelTarget, rapid.SampledFrom([]int{0, 2, 4}).Draw(t, "id")}
		a.Value = genValue(t, a.Target.ID)
		if rapid.Bool().Draw(t, "ramp") {
			a.Ramp.OverUs = rapid.Int64Range(1, maxRampUs).Draw(t, "over")
			if a.Ramp.FromPresent = rapid.Bool().Draw(t, "present"); !a.Ramp.FromPresent {
				a.Ramp.From = genValue(t, a.Target.ID)
			}
		}
	}
	genTrigger(t, &a)
	return a
}

func genValue(t *rapid.T, id int) int64 {
	lo, hi := testWords.channel(id).limits()
	return rapid.Int64Range(lo, hi).Draw(t, "value")
}

func genTrigger(t *rapid.T, a *Action) {
	times := rapid.Int64Range(0, maxTimeUs)
	a.Trigger.Kind = rapid.SampledFrom([]TriggerKind{AtTime, When, While}).Draw(t, "trigger")
	if a.Trigger.Kind != AtTime {
		a.Trigger.Tests = genTests(t)
	}
	if a.Trigger.Kind == While {
		return
	}
	a.Trigger.TimeUs = times.Draw(t, "time")
	a.ScatterUs = rapid.SampledFrom([]int64{0, 1, 50000}).Draw(t, "scatter")
	switch a.End.Kind = rapid.SampledFrom([]EndKind{Never, For, UntilTime, UntilTests}).Draw(t, "end"); a.End.Kind {
	case For:
		a.End.TimeUs = times.Draw(t, "for") + 1
		a.End.TimeUs = min(a.End.TimeUs, maxTimeUs)
	case UntilTime:
		a.End.TimeUs = times.Draw(t, "until")
		if a.Trigger.Kind == AtTime {
			a.Trigger.TimeUs = min(a.Trigger.TimeUs, maxTimeUs-1)
			a.End.TimeUs = max(a.End.TimeUs, a.Trigger.TimeUs+1)
		}
	case UntilTests:
		a.End.Tests = genTests(t)
	}
}

func genTests(t *rapid.T) []Test {
	var tests []Test
	for range rapid.IntRange(1, 3).Draw(t, "tests") {
		switch rapid.SampledFrom([]TargetKind{SwitchTarget, ChannelTarget, MomentTarget}).Draw(t, "subject") {
		case SwitchTarget:
			tests = append(tests, Test{Target{SwitchTarget, rapid.IntRange(0, 4).Draw(t, "id")}, rapid.SampledFrom([]Compare{IsOn, IsOff}).Draw(t, "is"), 0})
		case MomentTarget:
			tests = append(tests, Test{Target{MomentTarget, rapid.IntRange(0, 1).Draw(t, "id")}, Holds, 0})
		case ChannelTarget:
			id := rapid.IntRange(0, 4).Draw(t, "id")
			tests = append(tests, Test{Target{ChannelTarget, id}, rapid.SampledFrom([]Compare{Above, Below, Reaches, FallsTo}).Draw(t, "how"), genValue(t, id)})
		}
	}
	return tests
}

var sameActions = cmp.Options{cmpopts.IgnoreFields(Action{}, "Pos"), cmpopts.EquateEmpty()}

// printsBack is the round trip: what print writes, ParseScript reads as the
// same actions, and print writes again the same way.
func printsBack(s *Script, print func(*Script) string) error {
	text := print(s)
	back, findings := ParseScript("", text, s.Vocabulary)
	if len(findings) > 0 {
		return fmt.Errorf("%s\n%s", text, show(findings))
	}
	if d := cmp.Diff(s.Actions, back.Actions, sameActions); d != "" {
		return fmt.Errorf("%s\n%s", text, d)
	}
	if again := print(back); again != text {
		return fmt.Errorf("printed as\n%s\nthen as\n%s", text, again)
	}
	return nil
}

func TestScriptPrintsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		if err := printsBack(genScript(t), (*Script).String); err != nil {
			t.Fatal(err)
		}
	})
}

// parseIsSound is the fuzz property: no panic, every finding has a place in
// the text, and what was understood prints back.
func parseIsSound(text string, parse func(file, text string, v *Vocabulary) (*Script, []Pos), print func(*Script) string) error {
	s, places := parse("", text, testWords)
	lines := strings.Split(text, "\n")
	for _, p := range places {
		if p.Line < 1 || p.Line > len(lines) || p.Column < 1 || p.Column > len(lines[p.Line-1])+1 {
			return fmt.Errorf("finding at %d:%d is outside of %q", p.Line, p.Column, text)
		}
	}
	if len(places) == 0 && len(s.Actions) == 0 && strings.ContainsAny(text, "abcdefghijklmnopqrstuvwxyz") && !strings.Contains(text, "#") {
		return fmt.Errorf("nothing was said about %q", text)
	}
	return printsBack(s, print)
}

func parsePlaces(file, text string, v *Vocabulary) (*Script, []Pos) {
	s, findings := ParseScript(file, text, v)
	var places []Pos
	for _, f := range findings {
		places = append(places, Pos{f.Line, f.Column})
	}
	return s, places
}

func FuzzScript(f *testing.F) {
	for _, c := range goodPhrases {
		f.Add(c[0])
	}
	f.Add("arm on; cluch on\n throttle 5 %")
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 2000 {
			return
		}
		if err := parseIsSound(text, parsePlaces, (*Script).String); err != nil {
			t.Fatal(err)
		}
	})
}

// The fuzz property and the round trip must find faults that are put in: each
// of these is a plausible slip of the parser or the printer.
func TestFuzzPropertyFindsPlantedFaults(t *testing.T) {
	rounded := func(s *Script) string { // prints times in whole milliseconds
		c := *s
		c.Actions = append([]Action(nil), s.Actions...)
		for i := range c.Actions {
			c.Actions[i].Trigger.TimeUs -= c.Actions[i].Trigger.TimeUs % 1000
		}
		return c.String()
	}
	shifted := func(file, text string, v *Vocabulary) (*Script, []Pos) { // columns count from the phrase's end
		s, places := parsePlaces(file, text, v)
		for i := range places {
			places[i].Column += 3
		}
		return s, places
	}
	silent := func(file, text string, v *Vocabulary) (*Script, []Pos) { // drops the last phrase without a word
		s, places := parsePlaces(file, text, v)
		if len(s.Actions) > 0 {
			s.Actions = s.Actions[:len(s.Actions)-1]
		}
		return s, places
	}
	texts := rapid.Custom(func(t *rapid.T) string {
		words := append([]string{"1 s", "5 %", "0.0015 s", ";", "\n", "cluch"}, keywords...)
		for _, e := range testWords.entries() {
			words = append(words, strings.Join(e.words, " "))
		}
		if rapid.Bool().Draw(t, "sound") {
			return genScript(t).String()
		}
		return strings.Join(rapid.SliceOfN(rapid.SampledFrom(words), 1, 8).Draw(t, "words"), " ")
	})
	found := func(parse func(string, string, *Vocabulary) (*Script, []Pos), print func(*Script) string) bool {
		for seed := range 200 {
			if parseIsSound(texts.Example(seed), parse, print) != nil {
				return true
			}
		}
		return false
	}
	assert.False(t, found(parsePlaces, (*Script).String), "the real code passes")
	assert.True(t, found(parsePlaces, rounded), "printer that rounds")
	assert.True(t, found(shifted, (*Script).String), "wrong columns")
	assert.True(t, found(silent, (*Script).String), "phrase dropped in silence")
}
