package files

import (
	"fmt"
	"math"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// terms visits one half of a condition: a list of texts, one comparison each.
//
//	clutch-down on              a switch reads on (or off)
//	throttle >= 60 %            a channel, in its unit, at or above (<= at or below)
//	engine-speed 3000 to 5000 rpm
//	gear = 1
//	road-speed known            the channel is valid, whatever it reads
//	sequence held or released   the launch sequence is in one of these states
func terms(b *Block, list *[controller.MaxTerms]controller.Term, key string, opts ...Option) {
	var used []controller.Term
	for _, t := range list {
		if t.Kind != controller.NoTerm {
			used = append(used, t)
		}
	}
	sp := newSpec(append(opts, Optional(), Len(0, controller.MaxTerms)))
	f := field{kind: "list of conditions"}
	read := func(i int, path string, n *Node) (controller.Term, bool) { return b.term(key, path, n) }
	listField(b, Slice(&used), key, sp, f, read, func(t controller.Term) string { return quote(termText(&t)) })
	if b.Decoding() {
		*list = [controller.MaxTerms]controller.Term{}
		copy(list[:], used)
	}
}

func (b *Block) term(key, path string, n *Node) (controller.Term, bool) {
	s, ok := b.plainText(key, path, n, &spec{})
	if !ok {
		return controller.Term{}, false
	}
	t, bad := parseTerm(s)
	if bad == nil {
		return t, true
	}
	at := *n
	at.Pos.Column += 1 + bad.at // behind the quote; exact as long as there are no escapes
	bad.f.Field = path
	if bad.f.Value == "" {
		bad.f.Value = shorten(s)
	}
	b.error(key, &at, bad.f)
	return t, false
}

// badTerm is what is wrong with a condition, and at which byte.
type badTerm struct {
	at int
	f  harness.Finding
}

// termWord is one word of a condition and its place.
type termWord struct {
	text string
	at   int
}

func splitTerm(s string) []termWord {
	var words []termWord
	for i := 0; i < len(s); {
		if s[i] == ' ' || s[i] == '\t' || s[i] == '\n' {
			i++
			continue
		}
		from := i
		for i < len(s) && s[i] != ' ' && s[i] != '\t' && s[i] != '\n' {
			i++
		}
		words = append(words, termWord{s[from:i], from})
	}
	return words
}

// termReader reads the words of one condition.
type termReader struct {
	words []termWord
	next  int
	end   int
}

func (r *termReader) take() termWord {
	if r.next >= len(r.words) {
		return termWord{at: r.end}
	}
	r.next++
	return r.words[r.next-1]
}

func (r *termReader) done() bool { return r.next >= len(r.words) }

func bad(w termWord, reason, allowed, fix string) *badTerm {
	if w.text == "" {
		reason = strings.Replace(reason, "unknown", "missing", 1)
	}
	return &badTerm{w.at, harness.Finding{Reason: reason, Value: w.text, Allowed: allowed, Fix: fix}}
}

func parseTerm(s string) (controller.Term, *badTerm) {
	r := &termReader{words: splitTerm(s), end: len(s)}
	subject := r.take()
	t, wrong := r.about(subject)
	if wrong == nil && !r.done() {
		wrong = bad(r.take(), "nothing may follow here", "", "write another condition as a text of its own")
	}
	return t, wrong
}

func (r *termReader) about(subject termWord) (controller.Term, *badTerm) {
	if sw, ok := harness.SwitchNamed(subject.text); ok {
		return r.switchTerm(sw)
	}
	if c, ok := harness.ChannelNamed(subject.text); ok {
		return r.channelTerm(c)
	}
	if subject.text == "sequence" {
		return r.sequenceTerm()
	}
	names := append(append([]string{"sequence", harness.Channels[controller.SinceRelease].Name}, channelNames()...), switchWords.Names()...)
	return controller.Term{}, bad(subject, "unknown switch or channel", "a switch, a channel or sequence", didYouMean(subject.text, names))
}

func (r *termReader) switchTerm(sw controller.Switch) (controller.Term, *badTerm) {
	switch w := r.take(); w.text {
	case "on":
		return controller.Term{Kind: controller.SwitchOn, Switch: sw}, nil
	case "off":
		return controller.Term{Kind: controller.SwitchOff, Switch: sw}, nil
	default:
		return controller.Term{}, bad(w, "unknown state of a switch", "on, off", "")
	}
}

func (r *termReader) sequenceTerm() (controller.Term, *badTerm) {
	t := controller.Term{Kind: controller.SequenceIn}
	for {
		w := r.take()
		for i, name := range strings.Split(w.text, "|") {
			s, ok := sequenceNamed(name)
			if !ok {
				if i > 0 {
					w.text = name
				}
				return t, bad(w, "unknown state of the launch sequence", strings.Join(sequenceWords(), ", "), didYouMean(name, sequenceWords()))
			}
			t.States |= 1 << s
		}
		if r.done() {
			return t, nil
		}
		if or := r.take(); or.text != "or" {
			return t, bad(or, "nothing but another state may follow", "or", "")
		}
	}
}

func sequenceWords() []string {
	var names []string
	for s := controller.Idle; s <= controller.Aborted; s++ {
		names = append(names, s.String())
	}
	return names
}

func sequenceNamed(name string) (controller.SequenceState, bool) {
	for i, n := range sequenceWords() {
		if n == name {
			return controller.SequenceState(i), true
		}
	}
	return 0, false
}

func (r *termReader) channelTerm(c controller.Channel) (controller.Term, *badTerm) {
	t := controller.Term{Kind: controller.Within, Channel: c, Low: math.MinInt32, High: math.MaxInt32}
	w := r.take()
	switch w.text {
	case "known":
		return t, nil
	case ">=", "<=", "=":
		v, wrong := r.value(c)
		if w.text != "<=" {
			t.Low = v
		}
		if w.text != ">=" {
			t.High = v
		}
		return t, wrong
	case ">", "<", "==":
		return t, bad(w, "unknown comparison", ">=, <=, =, LOW to HIGH, known", "write >= or <=: a limit belongs to the range")
	}
	return r.between(t, w)
}

// between reads "LOW to HIGH UNIT"; LOW may have a unit of its own.
func (r *termReader) between(t controller.Term, first termWord) (controller.Term, *badTerm) {
	if first.text == "" || !strings.ContainsAny(first.text[:1], "+-.0123456789") {
		return t, bad(first, "unknown comparison", ">=, <=, =, LOW to HIGH, known", "")
	}
	low := []termWord{first}
	w := r.take()
	if w.text != "to" && w.text != "" {
		low = append(low, w)
		w = r.take()
	}
	if w.text != "to" {
		return t, bad(w, "unknown word: a range has two ends", "to", "write >=, <= or = before a single number")
	}
	from := r.next
	high, wrong := r.value(t.Channel)
	if wrong != nil {
		return t, wrong
	}
	if len(low) == 1 && r.next-from == 2 { // the unit stands behind HIGH
		low = append(low, r.words[r.next-1])
	}
	lr := &termReader{words: low, end: r.words[from].at}
	t.High = high
	t.Low, wrong = lr.value(t.Channel)
	return t, wrong
}

// value reads a number and its unit, if the channel has one.
func (r *termReader) value(c controller.Channel) (int32, *badTerm) {
	w := r.take()
	units := channelUnits(c)
	number, unit := w, termWord{at: w.at}
	if i := strings.LastIndexAny(w.text, "0123456789."); i >= 0 && i+1 < len(w.text) { // 60%
		number.text, unit = w.text[:i+1], termWord{w.text[i+1:], w.at + i + 1}
	} else if units[0].Unit != "" {
		unit = r.take()
	}
	scale, ok := findUnit(units, unit.text)
	if !ok {
		return 0, bad(unit, "unknown unit for "+harness.Channels[c].Name, unitList(units), "")
	}
	v, err := scale.Parse(number.text)
	if err != nil {
		b := bad(number, err.Error(), "", "")
		if e, is := err.(errBetween); is {
			b.f.Fix = fmt.Sprintf("write %s or %s", e.below, e.above)
		}
		return 0, b
	}
	if v < math.MinInt32 || v > math.MaxInt32 {
		return 0, bad(number, errTooBig.Error(), "", "")
	}
	return int32(v), nil
}

func findUnit(units []Scale, name string) (Scale, bool) {
	for _, u := range units {
		if u.Unit == name {
			return u, true
		}
	}
	return Scale{}, false
}

func unitList(units []Scale) string {
	var names []string
	for _, u := range units {
		names = append(names, u.Unit)
	}
	return strings.Join(names, ", ")
}

// channelUnits are the units in which a condition or a phrase may write a
// channel; the first is the one that is written.
func channelUnits(c controller.Channel) []Scale {
	first := channelScale(c)
	switch first.Unit {
	case "m/s":
		return []Scale{first, KmhInMmPerS}
	case "kPa":
		return []Scale{first, {Unit: "bar", Mul: 100000}}
	case "s":
		return []Scale{first, {Unit: "ms", Mul: 1}}
	}
	return []Scale{first}
}

// termText is the canonical text of a term; parseTerm gives the term back.
func termText(t *controller.Term) string {
	switch t.Kind {
	case controller.SwitchOn, controller.SwitchOff:
		name := "?"
		if int(t.Switch) < len(harness.Switches) {
			name = harness.Switches[t.Switch]
		}
		return name + map[bool]string{true: " on", false: " off"}[t.Kind == controller.SwitchOn]
	case controller.SequenceIn:
		var names []string
		for i, n := range sequenceWords() {
			if t.States>>i&1 != 0 {
				names = append(names, n)
			}
		}
		return "sequence " + strings.Join(names, " or ")
	}
	if int(t.Channel) >= len(harness.Channels) {
		return "?"
	}
	return withinText(t)
}

func withinText(t *controller.Term) string {
	name, s := harness.Channels[t.Channel].Name, channelScale(t.Channel)
	low, high := s.Format(int64(t.Low)), s.Shown(int64(t.High))
	switch {
	case t.Low == t.High:
		return name + " = " + high
	case t.Low == math.MinInt32 && t.High == math.MaxInt32:
		return name + " known"
	case t.High == math.MaxInt32:
		return name + " >= " + s.Shown(int64(t.Low))
	case t.Low == math.MinInt32:
		return name + " <= " + high
	}
	return name + " " + low + " to " + high
}
