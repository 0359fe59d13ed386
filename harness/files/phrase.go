package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/harness"
)

// Limits of scripts.
const (
	maxScript  = 64 << 10        // bytes of text
	maxActions = 1000            // phrases
	maxTests   = 8               // tests joined by "and"
	maxTimeUs  = 100_000_000_000 // any time: 100,000 s
	maxRampUs  = 600_000_000     // a ramp: 600 s, so that its product with a 32-bit span fits 64 bits
)

var timeUnits = []Scale{SecondsInUs, MillisInUs, {Unit: "min", Mul: 60_000_000}}

// ParseScript reads phrases, separated by semicolons or line ends; # starts a
// comment. The grammar, with any case of letters and the clauses in any order:
//
//	phrase    = SWITCH ("on" | "off") {clause}
//	          | CHANNEL VALUE {clause}
//	          | CHANNEL "ramp" [VALUE] "to" VALUE "over" TIME {clause}
//	clause    = "at" (TIME | condition) | "from" TIME "to" TIME
//	          | "when" condition | "while" condition | TIME "after" condition
//	          | "for" TIME | "until" (TIME | condition)
//	          | "with" "scatter" TIME
//	condition = test {"and" test}
//	test      = CHANNEL ("above" | "below" | "reaches" | "falls to") VALUE
//	          | SWITCH ("on" | "off") | MOMENT
//	VALUE     = number unit of the channel       TIME = number ("s" | "ms" | "min")
//
// A phrase that says no start begins with the run. See Trigger and End for
// what the clauses mean. "for" always gives the length of the action, never of
// a condition.
//
// All findings are returned at once, each with line, column, what was expected
// there and the nearest word known. file may be empty.
func ParseScript(file, text string, v *Vocabulary) (*Script, harness.Findings) {
	return parseScriptAt(file, text, v, Pos{1, 1})
}

// parseScriptAt is ParseScript for a text that stands inside another one.
func parseScriptAt(file, text string, v *Vocabulary, base Pos) (*Script, harness.Findings) {
	s := &Script{Vocabulary: v}
	p := &phraseParser{file: file, base: base, script: s, entries: v.entries()}
	if len(text) > maxScript {
		p.report(Pos{1, 1}, harness.Finding{Reason: "the script is too long", Allowed: fmt.Sprintf("up to %d bytes", maxScript)})
		return s, p.findings
	}
	p.tokens = lexPhrases(text)
	for p.at < len(p.tokens) && len(p.findings) < maxFindings {
		p.phrase()
	}
	return s, p.findings
}

type phraseParser struct {
	file     string
	base     Pos
	script   *Script
	entries  []entry
	tokens   []token
	at       int
	findings harness.Findings

	hasTrigger, hasEnd, hasScatter bool // of the present phrase
}

// errPhrase unwinds one phrase after its finding was made.
type errPhrase struct{}

func (errPhrase) Error() string { return "phrase refused" }

func (p *phraseParser) report(pos Pos, f harness.Finding) {
	if pos.Line == 1 {
		pos.Column += p.base.Column - 1
	}
	f.Severity, f.File, f.Line, f.Column = harness.Error, p.file, pos.Line+p.base.Line-1, pos.Column
	p.findings = append(p.findings, f)
}

// refuse reports the present token and gives the phrase up.
func (p *phraseParser) refuse(reason, allowed, fix string) error {
	return p.refuseAt(p.tokens[p.at], reason, allowed, fix)
}

func (p *phraseParser) refuseAt(t token, reason, allowed, fix string) error {
	p.report(t.pos, harness.Finding{Value: shorten(t.text), Reason: reason, Allowed: allowed, Fix: fix})
	return errPhrase{}
}

// expected refuses the present token where one of the words could stand.
func (p *phraseParser) expected(words ...string) error {
	t := p.tokens[p.at]
	fix := ""
	if t.kind == wordToken {
		fix = didYouMean(t.text, words)
	}
	return p.refuse("expected "+orList(words), "", fix)
}

func orList(words []string) string {
	if len(words) == 1 {
		return words[0]
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// peek reports whether the present token is the keyword.
func (p *phraseParser) peek(word string) bool {
	t := p.tokens[p.at]
	return t.kind == wordToken && strings.EqualFold(t.text, word)
}

// accept skips the keyword if it is the present token.
func (p *phraseParser) accept(word string) bool {
	if !p.peek(word) {
		return false
	}
	p.at++
	return true
}

// phrase reads one phrase and its end; after an error it skips to the end.
func (p *phraseParser) phrase() {
	if p.tokens[p.at].kind == endToken {
		p.at++
		return
	}
	p.hasTrigger, p.hasEnd, p.hasScatter = false, false, false
	a := Action{Pos: p.tokens[p.at].pos}
	start := p.tokens[p.at]
	err := p.action(&a)
	if err == nil {
		err = p.check(start, &a)
	}
	if err == nil {
		p.script.Actions = append(p.script.Actions, a)
	}
	for p.tokens[p.at].kind != endToken {
		p.at++
	}
	p.at++
}

func (p *phraseParser) action(a *Action) error {
	start := p.tokens[p.at]
	e, err := p.name("a switch or channel")
	if err != nil {
		return err
	}
	a.Target = e.target
	if e.target.Kind == MomentTarget || p.script.Vocabulary.readOnly(e.target) {
		return p.refuseAt(start, e.name+" cannot be scripted: it is an outcome", strings.Join(p.settable(), ", "), "")
	}
	if err := p.setting(a); err != nil {
		return err
	}
	for p.tokens[p.at].kind != endToken {
		if err := p.clause(a); err != nil {
			return err
		}
	}
	return nil
}

func (p *phraseParser) settable() []string {
	var names []string
	for _, e := range p.entries {
		if e.target.Kind != MomentTarget && !p.script.Vocabulary.readOnly(e.target) && (len(names) == 0 || names[len(names)-1] != e.name) {
			names = append(names, e.name)
		}
	}
	return names
}

// check refuses what single clauses could not see.
func (p *phraseParser) check(start token, a *Action) error {
	switch {
	case len(p.script.Actions) >= maxActions:
		return p.refuseAt(start, "too many phrases", fmt.Sprintf("up to %d", maxActions), "")
	case a.Trigger.Kind == While && a.End.Kind != Never:
		return p.refuseAt(start, "while ends by itself and takes no for or until", "", "use when to start once")
	case a.Trigger.Kind == While && a.ScatterUs > 0:
		return p.refuseAt(start, "while starts again and again and takes no scatter", "", "use when to start once")
	case a.Trigger.Kind == AtTime && a.End.Kind == UntilTime && a.End.TimeUs <= a.Trigger.TimeUs:
		return p.refuseAt(start, "ends before it starts", "", "put the later time last")
	}
	return nil
}

func (p *phraseParser) setting(a *Action) error {
	if a.Target.Kind == SwitchTarget {
		switch {
		case p.accept("on"):
			a.On = true
		case !p.accept("off"):
			return p.expected("on", "off")
		}
		return nil
	}
	c := p.script.Vocabulary.channel(a.Target.ID)
	if !p.accept("ramp") {
		var err error
		a.Value, err = p.value(c, "ramp")
		return err
	}
	return p.ramp(a, c)
}

func (p *phraseParser) ramp(a *Action, c *Channel) (err error) {
	if a.Ramp.FromPresent = p.peek("to"); !a.Ramp.FromPresent {
		if a.Ramp.From, err = p.value(c, "to"); err != nil {
			return err
		}
	}
	if !p.accept("to") {
		return p.expected("to")
	}
	if a.Value, err = p.value(c); err != nil {
		return err
	}
	if !p.accept("over") {
		return p.expected("over")
	}
	start := p.tokens[p.at]
	if a.Ramp.OverUs, err = p.time(); err != nil {
		return err
	}
	if a.Ramp.OverUs == 0 || a.Ramp.OverUs > maxRampUs {
		return p.refuseAt(start, "ramp time out of range", "above 0 to "+seconds(maxRampUs), "")
	}
	return nil
}
