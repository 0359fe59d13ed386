package files

import (
	"fmt"
	"os"
	"strings"

	"github.com/holdline/holdline/harness"
)

// Kind describes one kind of file: what its text says and what value it
// stands for. Fields is the description; it is called with a block of the
// root table for decoding, encoding and documenting alike and must visit the
// same fields each time.
type Kind[T any] struct {
	Name   string // in words: "calibration"
	Format string // value of the first key: "holdline-calibration-1"
	Doc    string // what the file is for; becomes the comment at its top
	Fields func(b *Block, v *T)
}

const formatKey = "format"

// Decode reads a text. It returns every finding of the text at once, sorted by
// place; the value is complete only if none of them is an Error. name is used
// in the findings. Changes are made before the text is read.
func (k Kind[T]) Decode(name string, text []byte, changes ...Change) (*T, *Document, harness.Findings) {
	doc, findings := Parse(name, text)
	findings = append(findings, doc.Change(changes...)...)
	v, more := k.DecodeDocument(doc, len(findings) > 0)
	return v, doc, append(findings, more...).Sorted()
}

// DecodeDocument is Decode for a text that has been parsed; faulty says that
// the parser had findings, so that an empty document needs no further ones.
func (k Kind[T]) DecodeDocument(doc *Document, faulty bool) (*T, harness.Findings) {
	v := new(T)
	s := &session{mode: decoding, doc: doc}
	b := &Block{s: s, node: doc.Root}
	if faulty && len(doc.Root.Keys) == 0 || !k.checkFormat(b) {
		return v, s.findings
	}
	k.Fields(b, v)
	b.finish()
	return v, s.findings
}

// checkFormat reports a missing or foreign format key, and whether it is worth
// reading on.
func (k Kind[T]) checkFormat(b *Block) bool {
	b.know(formatKey)
	n := b.take(formatKey, true, quote(k.Format))
	if n == nil {
		return true
	}
	f := harness.Finding{Allowed: quote(k.Format)}
	switch {
	case n.Kind != StringNode:
		b.wrongType(formatKey, n, f, "text")
		return true
	case n.Text == k.Format:
		return true
	case formatFamily(n.Text) == formatFamily(k.Format):
		f.Reason = "this version of the format is not supported"
	default:
		f.Reason = "this is not a " + k.Name + " file"
	}
	b.error(formatKey, n, f)
	return false
}

// formatFamily cuts the version number from a format: "holdline-car-2" gives
// "holdline-car".
func formatFamily(s string) string {
	if i := strings.LastIndexByte(s, '-'); i > 0 {
		return s[:i]
	}
	return s
}

// FormatOf returns the format that a document states, "" if none, so that a
// caller who takes several kinds can choose.
func FormatOf(doc *Document) string {
	if n := doc.Root.Get(formatKey); n != nil && n.Kind == StringNode {
		return n.Text
	}
	return ""
}

// Read is Decode of a file. A file that cannot be read is a finding too.
func (k Kind[T]) Read(path string, changes ...Change) (*T, *Document, harness.Findings) {
	text, err := ReadText(path)
	if err != nil {
		doc := &Document{File: path, Root: &Node{Kind: TableNode}, Partial: true}
		return new(T), doc, harness.Findings{{Severity: harness.Error, File: path, Reason: "cannot be read: " + harness.ReasonOf(err)}}.Sorted()
	}
	return k.Decode(path, text, changes...)
}

// Encode writes v as a text with a comment for each key. Keys stand in the
// order of the description, plain keys before nested tables. The text of a
// value is always the same, and decoding it gives the value back. A value that
// the text cannot say is an error that lists all such fields.
func (k Kind[T]) Encode(v *T) ([]byte, error) { return k.encode(v, false) }

// EncodeBrief is Encode without the fields that hold their default.
func (k Kind[T]) EncodeBrief(v *T) ([]byte, error) { return k.encode(v, true) }

func (k Kind[T]) encode(v *T, brief bool) ([]byte, error) {
	s := &session{mode: encoding, doc: new(Document), brief: brief}
	b := &Block{s: s, doc: k.Doc}
	b.know(formatKey)
	b.lines = append(b.lines, line{key: formatKey, text: quote(k.Format), comment: "kind and version of this file"})
	k.Fields(b, v)
	var out strings.Builder
	b.print(&out)
	return []byte(out.String()), s.findings.Err()
}

// Write encodes v into a file, see WriteFile.
func (k Kind[T]) Write(path string, v *T, force bool) error {
	text, err := k.Encode(v)
	if err != nil {
		return err
	}
	return WriteFile(path, text, force)
}

// Describe returns the reference of the kind as Markdown that reads well as
// plain text: a table of keys with unit, range, default and meaning for each
// table of the file.
func (k Kind[T]) Describe() string {
	s := &session{mode: describing, doc: new(Document)}
	b := &Block{s: s}
	b.know(formatKey)
	b.rows = append(b.rows, row{key: formatKey, kind: "text", allowed: quote(k.Format), def: "required", doc: "kind and version of this file"})
	k.Fields(b, new(T))
	var out strings.Builder
	fmt.Fprintf(&out, "# %s file\n\n%s\n\n", strings.ToUpper(k.Name[:1])+k.Name[1:], k.Doc)
	b.printReference(&out)
	return out.String()
}

// Verify reports mistakes of the description itself: keys named twice,
// defaults out of range, constants that do not fit their scale. Call it in a
// test of each kind.
func (k Kind[T]) Verify() error {
	s := &session{mode: describing, doc: new(Document)}
	b := &Block{s: s}
	b.know(formatKey)
	k.Fields(b, new(T))
	if len(s.faults) == 0 {
		return nil
	}
	return fmt.Errorf("description of the %s file:\n%s", k.Name, strings.Join(s.faults, "\n"))
}

// ReadText reads a file of at most MaxSize bytes; Parse refuses what was cut.
func ReadText(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return readAtMost(f, MaxSize+1)
}
