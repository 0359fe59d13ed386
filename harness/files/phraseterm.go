package files

import (
	"errors"
	"fmt"
	"strings"
)

// name reads the longest name of the vocabulary that stands here. what says
// what is expected.
func (p *phraseParser) name(what string) (entry, error) {
	best := entry{}
	for _, e := range p.entries {
		if len(e.words) > len(best.words) && p.stands(e.words) {
			best = e
		}
	}
	if len(best.words) > 0 {
		p.at += len(best.words)
		return best, nil
	}
	return best, p.unknownName(what)
}

func (p *phraseParser) stands(words []string) bool {
	if p.at+len(words) > len(p.tokens) {
		return false
	}
	for i, w := range words {
		t := p.tokens[p.at+i]
		if t.kind == endToken || !strings.EqualFold(t.text, w) {
			return false
		}
	}
	return true
}

// unknownName reports the words up to the next keyword or number as one name.
func (p *phraseParser) unknownName(what string) error {
	t := p.tokens[p.at]
	var words []string
	for i := p.at; p.tokens[i].kind == wordToken && !isKeyword(strings.ToLower(p.tokens[i].text)); i++ {
		words = append(words, p.tokens[i].text)
	}
	if len(words) == 0 {
		return p.refuse("expected "+what, "", "")
	}
	t.text = strings.Join(words, " ")
	var names []string
	var proper []string
	for _, e := range p.entries {
		names = append(names, strings.Join(e.words, " "))
		if len(proper) == 0 || proper[len(proper)-1] != e.name {
			proper = append(proper, e.name)
		}
	}
	return p.refuseAt(t, "expected "+what+", not a known name", strings.Join(proper, ", "), didYouMean(t.text, names))
}

func (p *phraseParser) condition() ([]Test, error) {
	var tests []Test
	for {
		start := p.tokens[p.at]
		t, err := p.test()
		if err != nil {
			return nil, err
		}
		if tests = append(tests, t); len(tests) > maxTests {
			return nil, p.refuseAt(start, "too many tests in a condition", fmt.Sprintf("up to %d", maxTests), "")
		}
		if !p.accept("and") {
			return tests, nil
		}
	}
}

func (p *phraseParser) test() (Test, error) {
	e, err := p.name("a switch, channel or moment")
	if err != nil {
		return Test{}, err
	}
	t := Test{Subject: e.target}
	switch e.target.Kind {
	case MomentTarget:
		t.Compare = Holds
		return t, nil
	case SwitchTarget:
		switch {
		case p.accept("on"):
			t.Compare = IsOn
		case p.accept("off"):
			t.Compare = IsOff
		default:
			return t, p.expected("on", "off")
		}
		return t, nil
	}
	if t.Compare, err = p.compare(); err != nil {
		return t, err
	}
	t.Value, err = p.value(p.script.Vocabulary.channel(e.target.ID))
	return t, err
}

func (p *phraseParser) compare() (Compare, error) {
	switch {
	case p.accept("above"):
		return Above, nil
	case p.accept("below"):
		return Below, nil
	case p.accept("reaches"):
		return Reaches, nil
	case p.accept("falls"):
		if !p.accept("to") {
			return 0, p.expected("to")
		}
		return FallsTo, nil
	}
	return 0, p.expected("above", "below", "reaches", "falls to")
}

// value reads a number with a unit of the channel. or lists words that could
// stand here too.
func (p *phraseParser) value(c *Channel, or ...string) (int64, error) {
	n := p.tokens[p.at]
	if n.kind != numberToken {
		return 0, p.expected(append([]string{"a number in " + orList(c.unitNames())}, or...)...)
	}
	p.at++
	u, err := p.unit(n, c)
	if err != nil {
		return 0, err
	}
	v, err := p.scaled(n, u)
	if err != nil {
		return 0, err
	}
	if lo, hi := c.limits(); v < lo || v > hi {
		return 0, p.refuseAt(n, c.Name+" out of range", u.between(lo, hi), "")
	}
	return v, nil
}

func (p *phraseParser) unit(n token, c *Channel) (Scale, error) {
	t := p.tokens[p.at]
	if t.kind == wordToken {
		if u, ok := c.unit(t.text); ok && t.text != "" {
			p.at++
			return u, nil
		}
	}
	if u, ok := c.unit(""); ok {
		return u, nil
	}
	if t.kind == wordToken && !isKeyword(strings.ToLower(t.text)) {
		return Scale{}, p.refuse("not a unit of "+c.Name, strings.Join(c.unitNames(), ", "), didYouMean(t.text, c.unitNames()))
	}
	return Scale{}, p.refuseAt(n, "unit missing", strings.Join(c.unitNames(), ", "), "write "+n.text+" "+c.Units[0].Unit)
}

// scaled converts a number token, reporting what does not fit.
func (p *phraseParser) scaled(n token, u Scale) (int64, error) {
	if strings.Contains(n.text, ",") {
		return 0, p.refuseAt(n, "comma in a number", "", "write a decimal point")
	}
	v, err := u.Parse(n.text)
	var between errBetween
	switch {
	case err == nil:
		return v, nil
	case errors.As(err, &between):
		return 0, p.refuseAt(n, between.Error(), "steps of "+u.Shown(1), fmt.Sprintf("write %s or %s", between.below, between.above))
	}
	return 0, p.refuseAt(n, err.Error(), "", "")
}

// time reads a number with a unit of time, in microseconds.
func (p *phraseParser) time() (int64, error) {
	n := p.tokens[p.at]
	if n.kind != numberToken {
		return 0, p.expected("a time such as 0.5 s")
	}
	p.at++
	u, err := p.unit(n, &Channel{Name: "time", Units: timeUnits})
	if err != nil {
		return 0, err
	}
	us, err := p.scaled(n, u)
	if err != nil {
		return 0, err
	}
	if us < 0 || us > maxTimeUs {
		return 0, p.refuseAt(n, "time out of range", u.between(0, maxTimeUs), "")
	}
	return us, nil
}
