package files

import (
	"bytes"
	"errors"
	"fmt"
	"sort"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"

	"github.com/holdline/holdline/harness"
)

// maxFindings bounds what is said about one text; a reader does not go on
// after the first hundred anyway.
const maxFindings = 200

// maxSyntaxFindings bounds the work on a text that is not TOML at all.
const maxSyntaxFindings = 50

// Parse reads a TOML text into a tree whose keys and values know their places.
// It returns a document even for a faulty text, together with a finding for
// each syntax error, repeated key and repeated table; after an error it goes
// on with the next line that looks like a key or a table header. name is used
// in the findings. Parse never panics; texts above MaxSize are refused.
func Parse(name string, text []byte) (*Document, harness.Findings) {
	root := &Node{Kind: TableNode, KeyPos: Pos{1, 1}, Pos: Pos{1, 1}, origin: headed}
	b := &builder{doc: &Document{File: name, Root: root}, cur: root}
	if b.unreadable(text) {
		b.doc.Partial = true
		return b.doc, b.findings
	}
	start := b.load(text)
	for at := start; at < len(b.text); {
		at = b.section(at)
	}
	return b.doc, b.findings
}

type builder struct {
	doc      *Document
	text     []byte
	lines    []int  // offset of each line's first byte
	cur      *Node  // table that takes the next keys
	path     string // of cur, for findings
	at       int    // cursor of value conversion
	syntax   int    // syntax findings so far
	findings harness.Findings
}

// unreadable refuses texts that are too long or not in an encoding we read.
func (b *builder) unreadable(text []byte) bool {
	if len(text) > MaxSize {
		b.report(Pos{}, harness.Finding{
			Reason: "the file is too large", Value: fmt.Sprintf("%d bytes", len(text)), Allowed: fmt.Sprintf("up to %d bytes", MaxSize),
			Fix: "check that this is the right file",
		})
		return true
	}
	if bytes.HasPrefix(text, []byte{0xFF, 0xFE}) || bytes.HasPrefix(text, []byte{0xFE, 0xFF}) {
		b.report(Pos{1, 1}, harness.Finding{Reason: "the file is UTF-16 text", Allowed: "UTF-8", Fix: "save it as UTF-8"})
		return true
	}
	return false
}

// load takes a copy of text with bytes that are not UTF-8 replaced, so that
// the rest can still be read, and returns where the text starts behind a
// byte-order mark.
func (b *builder) load(text []byte) int {
	b.text = bytes.Clone(text)
	b.lines = []int{0}
	for i, c := range b.text {
		if c == '\n' {
			b.lines = append(b.lines, i+1)
		}
	}
	b.replaceBadBytes()
	if bytes.HasPrefix(b.text, []byte("\xEF\xBB\xBF")) {
		return 3
	}
	return 0
}

func (b *builder) replaceBadBytes() {
	lastLine := 0
	for i := 0; i < len(b.text); {
		r, size := utf8.DecodeRune(b.text[i:])
		if r == utf8.RuneError && size <= 1 {
			if pos := b.pos(i); pos.Line != lastLine && b.syntax < maxSyntaxFindings {
				lastLine = pos.Line
				b.syntax++
				b.report(pos, harness.Finding{
					Reason: "byte that is not UTF-8", Value: fmt.Sprintf("0x%02X", b.text[i]), Fix: "save the file as UTF-8",
				})
			}
			b.text[i] = '?'
			size = 1
		}
		i += size
	}
}

func (b *builder) pos(offset int) Pos {
	line := sort.SearchInts(b.lines, offset+1) - 1
	return Pos{line + 1, offset - b.lines[line] + 1}
}

func (b *builder) report(pos Pos, f harness.Finding) {
	if len(b.findings) == maxFindings {
		f = harness.Finding{Reason: "too many findings; later ones are not shown"}
	}
	if len(b.findings) > maxFindings {
		return
	}
	f.Severity, f.File, f.Line, f.Column = harness.Error, b.doc.File, pos.Line, pos.Column
	b.findings = append(b.findings, f)
}

// section reads from offset at to the end or to the first syntax error and
// returns the offset to go on at.
func (b *builder) section(at int) int {
	var p unstable.Parser
	p.Reset(b.text[at:])
	end := at
	for p.NextExpression() {
		end = b.expression(at, p.Expression())
	}
	if p.Error() == nil {
		return len(b.text)
	}
	errAt, reason := end, p.Error().Error()
	var pe *unstable.ParserError
	if errors.As(p.Error(), &pe) {
		// A slice of the text keeps the capacity up to the text's end.
		if off := cap(b.text) - cap(pe.Highlight); off >= at && off <= len(b.text) {
			errAt = off
		}
	}
	return b.resume(end, min(errAt, len(b.text)-1), reason)
}

// expression adds one top-level expression of a parser started at base and
// returns the offset where it ends.
func (b *builder) expression(base int, e *unstable.Node) int {
	if e.Kind == unstable.KeyValue {
		b.keyValue(base, b.cur, e, 0)
		return base + int(e.Raw.Offset+e.Raw.Length)
	}
	keys := b.keys(base, e)
	if b.tooManyParts(keys) {
		b.lose()
	} else {
		b.header(keys, e.Kind == unstable.ArrayTable)
	}
	return keys[len(keys)-1].end
}

// keyPart is one step of a dotted key.
type keyPart struct {
	name string
	pos  Pos
	end  int
}

func (b *builder) keys(base int, e *unstable.Node) []keyPart {
	var parts []keyPart
	for it := e.Key(); it.Next(); {
		k := it.Node()
		at := base + int(k.Raw.Offset)
		parts = append(parts, keyPart{string(k.Data), b.pos(at), at + int(k.Raw.Length)})
	}
	return parts
}

// tooManyParts refuses a dotted key that is deeper than any file kind.
func (b *builder) tooManyParts(keys []keyPart) bool {
	if len(keys) <= maxDepth {
		return false
	}
	b.report(keys[maxDepth].pos, harness.Finding{Reason: "tables are nested too deep", Fix: "no file kind needs this; check the dots"})
	return true
}

// header makes the table of a [header] or [[header]] current.
func (b *builder) header(keys []keyPart, isList bool) {
	b.path = ""
	t := b.doc.Root
	last := len(keys) - 1
	for i, k := range keys[:last] {
		if t = b.enter(t, k, implied); t == nil {
			b.conflict(keys[:i+1], "is not a table")
			return
		}
	}
	if isList {
		b.listHeader(t, keys)
		return
	}
	k := keys[last]
	n := t.Get(k.name)
	switch {
	case n == nil:
		n = newTable(k, headed)
		t.add(n)
	case n.Kind == TableNode && n.origin == implied:
		n.origin, n.KeyPos, n.Pos = headed, k.pos, k.pos
	case n.Kind == TableNode && n.origin == headed:
		b.repeated(keys, n, "table")
	default:
		b.conflict(keys, "was written before as "+article(n))
		return
	}
	b.cur, b.path = n, dottedName(keys)
}

func (b *builder) listHeader(t *Node, keys []keyPart) {
	k := keys[len(keys)-1]
	list := t.Get(k.name)
	if list == nil {
		list = &Node{Kind: ListNode, Key: k.name, KeyPos: k.pos, Pos: k.pos, headered: true}
		t.add(list)
	}
	if list.Kind != ListNode || !list.headered {
		b.conflict(keys, "was written before as "+article(list))
		return
	}
	item := newTable(keyPart{pos: k.pos}, headed)
	list.Items = append(list.Items, item)
	b.cur = item
	b.path = fmt.Sprintf("%s[%d]", dottedName(keys), len(list.Items))
}

// enter steps into the table of one key part, making it if it is not there;
// nil if something else is there.
func (b *builder) enter(t *Node, k keyPart, how origin) *Node {
	n := t.Get(k.name)
	switch {
	case n == nil:
		n = newTable(k, how)
		t.add(n)
		return n
	case n.Kind == ListNode && n.headered && how == implied:
		return n.Items[len(n.Items)-1]
	case n.Kind == TableNode && n.origin != enclosed && (how == implied || n.origin == how):
		return n
	}
	return nil
}

func newTable(k keyPart, how origin) *Node {
	return &Node{Kind: TableNode, Key: k.name, KeyPos: k.pos, Pos: k.pos, origin: how}
}

// conflict reports a header or key that contradicts what was written before;
// its keys go into a table that nobody reads.
func (b *builder) conflict(keys []keyPart, reason string) {
	b.report(keys[len(keys)-1].pos, harness.Finding{Field: dottedName(keys), Reason: reason, Fix: "rename one of the two"})
	b.lose()
}

// lose sends the keys that follow to a table that is not part of the document.
func (b *builder) lose() {
	b.cur = &Node{Kind: TableNode, origin: headed}
	b.doc.Partial = true
}

func (b *builder) repeated(keys []keyPart, first *Node, what string) {
	b.report(keys[len(keys)-1].pos, harness.Finding{
		Field: joinPath(b.path, dottedName(keys)), Reason: fmt.Sprintf("%s repeated; the first is on line %d", what, first.KeyPos.Line),
		Fix: "keep one of the two",
	})
}

func dottedName(keys []keyPart) string {
	s := ""
	for _, k := range keys {
		s = joinPath(s, k.name)
	}
	return s
}

func article(n *Node) string {
	switch n.Kind {
	case BoolNode, StringNode:
		return n.Kind.String()
	case BadNode:
		return "an " + n.Kind.String()
	}
	return "a " + n.Kind.String()
}
