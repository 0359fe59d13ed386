package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/harness"
)

type mode uint8

const (
	decoding mode = iota
	encoding
	describing
)

// session is shared by all blocks of one Decode, Encode or Describe.
type session struct {
	mode     mode
	doc      *Document // decode: the text; else empty
	brief    bool      // encode: leave out what equals its default
	findings harness.Findings
	faults   []string // mistakes in the description itself
}

func (s *session) full() bool { return len(s.findings) > maxFindings }

// Block is one table of a file while its fields are visited. A description
// calls the field functions (Int, Bool, Enum, Table and so on) on it, in the
// order in which a person should read the keys. The same calls decode, encode
// and document.
type Block struct {
	s      *session
	path   string // for findings: stage.launch, shot[2]
	header string // for the text: stage.launch, shot
	list   bool   // encode: [[header]]
	doc    string
	outer  *Block

	node   *Node           // decode: nil if the table is absent
	known  []string        // keys that the description names
	failed map[string]bool // keys with an error
	ignore bool            // decode: unknown keys are not worth a finding
	refuse string          // decode: why keys visited now are not used
	skip   bool            // decode: keys visited now are neither used nor refused
	note   string          // describe: when keys visited now are used

	missing []string // required keys not found while node is nil
	lines   []line   // encode
	rows    []row    // describe
	subs    []*Block // encode, describe
}

// Decoding tells a description that values are being read from a text, so
// that checks over several fields make sense.
func (b *Block) Decoding() bool { return b.s.mode == decoding }

// Given reports whether the text has the key. It is false when encoding.
func (b *Block) Given(key string) bool { return b.node.Get(key) != nil }

// Good reports whether none of the keys had an error so far, so that a check
// over several fields does not repeat what was said about one.
func (b *Block) Good(keys ...string) bool {
	for _, k := range keys {
		if b.failed[k] {
			return false
		}
	}
	return true
}

// Fail reports an error at a key of this table, or at the table if key is
// empty or absent. Severity, file, place, field and (if empty) value are
// filled in. It does nothing unless decoding.
func (b *Block) Fail(key string, f harness.Finding) { b.tell(harness.Error, key, f) }

// Warn is Fail for a finding that lets the work go on.
func (b *Block) Warn(key string, f harness.Finding) { b.tell(harness.Warning, key, f) }

func (b *Block) tell(sev harness.Severity, key string, f harness.Finding) {
	if !b.Decoding() {
		return
	}
	f.Severity = sev
	if n := b.node.Get(key); n != nil {
		b.fail(key, n, f)
		return
	}
	f.Field = joinPath(b.path, key)
	if key == "" {
		f.Field = b.path
	}
	b.at(b.place(), f)
	b.markFailed(key, sev)
}

// When visits fields that are used only under a condition, such as the band
// of a soft cut. If cond is false they are not written, and a text that gives
// one is told why it is not used: "only with style = soft". on names the keys
// that decide; if one of them had an error nothing more is said.
func (b *Block) When(cond bool, why string, fields func(), on ...string) {
	refuse, skip, note := b.refuse, b.skip, b.note
	defer func() { b.refuse, b.skip, b.note = refuse, skip, note }()
	switch {
	case b.s.mode == describing:
		b.note = why
	case cond:
	case b.s.mode == encoding:
		return
	case !b.Good(on...):
		b.skip = true
	default:
		b.refuse = why
	}
	fields()
}

// fail reports an error about node n, which is or stands under key.
func (b *Block) fail(key string, n *Node, f harness.Finding) {
	if f.Field == "" {
		f.Field = joinPath(b.path, key)
	}
	if f.Value == "" && n.Kind != TableNode {
		f.Value = n.Shown()
	}
	b.at(n.Pos, f)
	b.markFailed(key, f.Severity)
}

func (b *Block) error(key string, n *Node, f harness.Finding) {
	f.Severity = harness.Error
	b.fail(key, n, f)
}

func (b *Block) markFailed(key string, sev harness.Severity) {
	if sev != harness.Error {
		return
	}
	if b.failed == nil {
		b.failed = map[string]bool{}
	}
	b.failed[key] = true
}

func (b *Block) at(pos Pos, f harness.Finding) {
	if b.s.full() {
		return
	}
	if len(b.s.findings) == maxFindings {
		f = harness.Finding{Severity: harness.Error, Reason: "too many findings; later ones are not shown"}
	}
	b.s.findings = append(b.s.findings, b.s.doc.finding(pos, f))
}

// place is where the table itself stands, or the closest one around it that is
// in the text.
func (b *Block) place() Pos {
	for ; b != nil; b = b.outer {
		if b.node != nil {
			return b.node.place()
		}
	}
	return Pos{}
}

// place is where the key stands, or the value for an item of a list.
func (n *Node) place() Pos {
	if n.KeyPos.Line == 0 {
		return n.Pos
	}
	return n.KeyPos
}

// fault notes a mistake in the description, found by Kind.Verify.
func (b *Block) fault(key, format string, args ...any) {
	b.s.faults = append(b.s.faults, joinPath(b.path, key)+": "+fmt.Sprintf(format, args...))
}

// take returns the node of a key when decoding, or nil if there is nothing to
// read; what there is to say about that has then been said.
func (b *Block) take(key string, required bool, allowed string) *Node {
	n := b.node.Get(key)
	switch {
	case b.skip:
		return nil
	case n == nil:
		if required && b.refuse == "" {
			b.lacks(key, allowed)
		}
		return nil
	case n.Kind == BadNode:
		b.markFailed(key, harness.Error)
		return nil
	case b.refuse != "":
		f := harness.Finding{Severity: harness.Error, Field: joinPath(b.path, key), Reason: "is not used here: " + b.refuse, Fix: "remove it"}
		if n.Kind != TableNode {
			f.Value = n.Shown()
		}
		b.at(n.KeyPos, f)
		return nil
	}
	return n
}

func (b *Block) lacks(key, allowed string) {
	b.markFailed(key, harness.Error)
	if b.node == nil {
		b.missing = append(b.missing, key)
		return
	}
	if b.s.doc.Partial {
		return
	}
	fix := "add " + key + " to the table"
	if b.path == "" {
		fix = "add " + key + " above the first table header"
	}
	b.at(b.place(), harness.Finding{
		Severity: harness.Error, Field: joinPath(b.path, key), Allowed: allowed, Reason: "required key is missing", Fix: fix,
	})
}

// know records a key of the description.
func (b *Block) know(key string) {
	for _, k := range b.known {
		if k == key {
			b.fault(key, "named twice")
			return
		}
	}
	b.known = append(b.known, key)
}

// finish reports the keys of the table that the description does not name.
func (b *Block) finish() {
	if b.s.mode != decoding || b.node == nil || b.ignore {
		return
	}
	for _, n := range b.node.Keys {
		if n.Kind == BadNode || b.knows(n.Key) {
			continue
		}
		if b.s.full() {
			return
		}
		f := harness.Finding{Severity: harness.Error, Field: joinPath(b.path, n.Key), Reason: "unknown key", Fix: didYouMean(n.Key, b.known)}
		if f.Fix == "" {
			f.Fix = "remove it"
			f.Allowed = strings.Join(b.known, ", ")
		}
		b.at(n.KeyPos, f)
	}
}

func (b *Block) knows(key string) bool {
	for _, k := range b.known {
		if k == key {
			return true
		}
	}
	return false
}
