package files

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness"
)

// field is what one kind of field can do; visit applies it in each mode.
type field struct {
	kind    string              // for the reference table
	unit    string              // as the reader sees it
	allowed string              // for findings, comments and the reference table
	def     string              // default as the text would write it; "" if none
	decode  func(n *Node)       // reports what is wrong itself
	preset  func()              // sets the default, or the value that means "not given"
	text    func() string       // TOML text of the value
	absent  func() bool         // value means "not given"
	invalid func() (why string) // encode: why the value cannot be written
}

func (b *Block) visit(key string, sp *spec, f field) {
	b.know(key)
	switch b.s.mode {
	case decoding:
		n := b.take(key, !sp.hasDef && !sp.optional, f.allowed)
		switch {
		case n != nil:
			f.decode(n)
		case (sp.hasDef || sp.absent != 0) && !b.Given(key) && b.refuse == "" && !b.skip:
			f.preset()
		}
	case encoding:
		b.write(key, sp, f)
	case describing:
		b.describe(key, sp, f)
	}
}

func (b *Block) write(key string, sp *spec, f field) {
	if sp.optional && f.absent() {
		return
	}
	text := f.text()
	if b.s.brief && sp.hasDef && text == f.def {
		return
	}
	if f.invalid != nil {
		if why := f.invalid(); why != "" {
			b.at(Pos{}, harness.Finding{
				Severity: harness.Error, Field: joinPath(b.path, key), Value: text, Allowed: f.allowed,
				Reason: "cannot be written: " + why,
			})
		}
	}
	b.lines = append(b.lines, line{key: key, text: text, comment: comment(f, sp.doc)})
}

func comment(f field, doc string) string {
	lead := f.allowed
	if lead == "true or false" {
		lead = "" // the value says so itself
	} else if lead == "" {
		lead = f.unit
	}
	return joinNonEmpty(": ", lead, doc)
}

func joinNonEmpty(sep string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, sep)
}

func (b *Block) describe(key string, sp *spec, f field) {
	r := row{key: key, kind: f.kind, unit: f.unit, allowed: f.allowed, doc: sp.doc, note: b.note}
	switch {
	case sp.hasDef:
		r.def = f.def
	case sp.optional:
		r.def = "may be left out"
	default:
		r.def = "required"
	}
	b.rows = append(b.rows, r)
}

// wrongType reports that a node is not of the kind wanted, with a fix where
// the slip is plain.
func (b *Block) wrongType(key string, n *Node, f harness.Finding, want string) {
	f.Reason = fmt.Sprintf("must be %s, not %s", want, article(n))
	_, err := parseDecimal(n.Text)
	switch {
	case f.Fix != "":
	case n.Kind == StringNode && want == "a number" && err == nil:
		f.Fix = "remove the quotes"
	case n.Kind == StringNode && want == "true or false" && (n.Text == "true" || n.Text == "false"):
		f.Fix = "remove the quotes"
	case n.Kind != TableNode && n.Kind != ListNode && (want == "text" || want == "a word"):
		f.Fix = "put it in quotes"
	case n.Kind != ListNode && strings.HasPrefix(want, "a list"):
		f.Fix = "put it in square brackets"
	}
	b.error(key, n, f)
}

// Bool visits true or false.
func Bool[T ~bool](b *Block, p *T, key string, opts ...Option) {
	sp := newSpec(opts)
	if sp.hasDef && sp.def != "true" && sp.def != "false" {
		b.fault(key, "the default must be true or false")
	}
	b.visit(key, sp, field{
		kind: "true or false", allowed: "true or false", def: sp.def,
		decode: func(n *Node) {
			if n.Kind != BoolNode {
				b.wrongType(key, n, harness.Finding{Allowed: "true or false"}, "true or false")
				return
			}
			*p = n.Raw == "true"
		},
		preset: func() { *p = sp.def == "true" },
		text:   func() string { return strconv.FormatBool(bool(*p)) },
		absent: func() bool { return !bool(*p) },
	})
}
