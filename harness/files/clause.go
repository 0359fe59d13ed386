package files

var clauseWords = []string{"at", "from", "when", "while", "a time and after", "for", "until", "with scatter"}

func (p *phraseParser) clause(a *Action) error {
	start := p.tokens[p.at]
	switch {
	case start.kind == numberToken:
		return p.after(a)
	case p.accept("at"):
		return p.atOrWhen(start, a)
	case p.accept("from"):
		return p.fromTo(start, a)
	case p.accept("when") || p.accept("after"):
		return p.trigger(start, a, When)
	case p.accept("while"):
		return p.trigger(start, a, While)
	case p.accept("for"):
		return p.duration(start, a)
	case p.accept("until"):
		return p.until(start, a)
	case p.accept("with"):
		return p.scatter(start, a)
	}
	words := append(clauseWords[:len(clauseWords):len(clauseWords)], "; or a new line")
	return p.expected(words...)
}

// once refuses a second clause of the same sort.
func (p *phraseParser) once(start token, has *bool, what string) error {
	if *has {
		return p.refuseAt(start, "a phrase has only one "+what, "", "write a second phrase")
	}
	*has = true
	return nil
}

func (p *phraseParser) after(a *Action) error {
	start := p.tokens[p.at]
	delay, err := p.time()
	if err != nil {
		return err
	}
	if !p.accept("after") {
		return p.expected("after")
	}
	a.Trigger.TimeUs = delay
	return p.trigger(start, a, When)
}

func (p *phraseParser) atOrWhen(start token, a *Action) error {
	if p.tokens[p.at].kind != numberToken {
		return p.trigger(start, a, When)
	}
	if err := p.once(start, &p.hasTrigger, "start"); err != nil {
		return err
	}
	var err error
	a.Trigger.TimeUs, err = p.time()
	return err
}

func (p *phraseParser) fromTo(start token, a *Action) (err error) {
	if err = p.once(start, &p.hasTrigger, "start"); err != nil {
		return err
	}
	if err = p.once(start, &p.hasEnd, "end"); err != nil {
		return err
	}
	if a.Trigger.TimeUs, err = p.time(); err != nil {
		return err
	}
	if !p.accept("to") {
		return p.expected("to")
	}
	a.End.Kind = UntilTime
	a.End.TimeUs, err = p.time()
	return err
}

func (p *phraseParser) trigger(start token, a *Action, kind TriggerKind) error {
	if err := p.once(start, &p.hasTrigger, "start"); err != nil {
		return err
	}
	a.Trigger.Kind = kind
	var err error
	a.Trigger.Tests, err = p.condition()
	return err
}

func (p *phraseParser) duration(start token, a *Action) error {
	if err := p.once(start, &p.hasEnd, "end"); err != nil {
		return err
	}
	at := p.tokens[p.at]
	us, err := p.time()
	if err != nil {
		return err
	}
	if us == 0 {
		return p.refuseAt(at, "must be above 0", "", "")
	}
	a.End = End{Kind: For, TimeUs: us}
	return nil
}

func (p *phraseParser) until(start token, a *Action) (err error) {
	if err = p.once(start, &p.hasEnd, "end"); err != nil {
		return err
	}
	if p.tokens[p.at].kind == numberToken {
		a.End.Kind = UntilTime
		a.End.TimeUs, err = p.time()
		return err
	}
	a.End.Kind = UntilTests
	a.End.Tests, err = p.condition()
	return err
}

func (p *phraseParser) scatter(start token, a *Action) (err error) {
	if !p.accept("scatter") {
		return p.expected("scatter")
	}
	if err = p.once(start, &p.hasScatter, "scatter"); err != nil {
		return err
	}
	a.ScatterUs, err = p.time()
	return err
}
