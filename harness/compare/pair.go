// Package compare runs two units on the same stimulus, in step, and says where
// they first differ: a firmware and the reference, or a firmware and the one
// before it.
//
//	pair := &compare.Pair{A: unit, B: &harness.Reference{}, Second: traceB}
//	_, err := harness.Run(ctx, stim, pair, session, traceA)
//	for _, d := range compare.Traces(traceA, traceB, tolerances) { ... }
package compare

import (
	"fmt"

	"github.com/holdline/holdline/harness"
)

// Pair is two units as one. A's answers go back to the stimulus; B is asked the
// same questions, and what it answers goes to Second. Where A answers commits
// only, B's outputs stand in for those that A does not report: they say what was
// in force when A decided.
type Pair struct {
	A, B   harness.Unit
	Second harness.Sink
	frame  harness.Frame
	lends  bool
}

// Open implements harness.Unit. It gives the caps of A. Errors of A, which is under
// test, are its own; those of B say so.
func (p *Pair) Open(s harness.Session) (harness.Caps, error) {
	caps, err := p.A.Open(s)
	if err != nil {
		return caps, err
	}
	p.lends = caps.OutputLess
	if _, err := p.B.Open(s); err != nil {
		return caps, fmt.Errorf("second unit: %w", closeAfter(err, p.A))
	}
	return caps, nil
}

// closeAfter closes what was opened before an error, which is the one to tell.
func closeAfter(err error, u harness.Unit) error {
	if e := u.Close(); e != nil {
		return fmt.Errorf("%w (and closing the first: %w)", err, e)
	}
	return err
}

// Step implements harness.Unit.
func (p *Pair) Step(f *harness.Frame) error {
	p.frame = *f
	if err := p.A.Step(f); err != nil {
		return err
	}
	if err := p.B.Step(&p.frame); err != nil {
		return fmt.Errorf("second unit: %w", err)
	}
	if p.lends {
		f.Out = p.frame.Out
	}
	if p.Second == nil {
		return nil
	}
	return p.Second.Record(&p.frame)
}

// Close implements harness.Unit.
func (p *Pair) Close() error {
	a, b := p.A.Close(), p.B.Close()
	if a != nil {
		return a
	}
	return b
}
