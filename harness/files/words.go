package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/harness"
)

// Word is one allowed word of an enum or set, the value it stands for, and
// what it means.
type Word[T comparable] struct {
	Name  string
	Value T
	Doc   string // may be empty
}

// Means makes a Word.
func Means[T comparable](name string, value T, doc string) Word[T] {
	return Word[T]{Name: name, Value: value, Doc: doc}
}

// Words are all allowed words, in the order in which a person should read
// them.
type Words[T comparable] []Word[T]

// WordsOf makes Words from values that name themselves.
func WordsOf[T interface {
	comparable
	fmt.Stringer
}](values ...T) Words[T] {
	ws := make(Words[T], len(values))
	for i, v := range values {
		ws[i] = Word[T]{Name: v.String(), Value: v}
	}
	return ws
}

// Names lists the words.
func (ws Words[T]) Names() []string {
	names := make([]string, len(ws))
	for i, w := range ws {
		names[i] = w.Name
	}
	return names
}

// Find returns the value of a word.
func (ws Words[T]) Find(name string) (v T, ok bool) {
	for _, w := range ws {
		if w.Name == name {
			return w.Value, true
		}
	}
	return v, false
}

// Name returns the word of a value.
func (ws Words[T]) Name(v T) (name string, ok bool) {
	for _, w := range ws {
		if w.Value == v {
			return w.Name, true
		}
	}
	return "", false
}

func (ws Words[T]) allowed() string { return strings.Join(ws.Names(), ", ") }

// meanings lists what the words mean, for the reference table.
func (ws Words[T]) meanings() string {
	var parts []string
	for _, w := range ws {
		if w.Doc != "" {
			parts = append(parts, w.Name+": "+w.Doc)
		}
	}
	return strings.Join(parts, "; ")
}

// Enum visits one word out of several.
func Enum[T comparable](b *Block, p *T, key string, words Words[T], opts ...Option) {
	sp := newSpec(opts)
	def, known := words.Find(sp.def)
	if sp.hasDef && !known {
		b.fault(key, "the default %q is not one of its words", sp.def)
	}
	var zero T
	if b.s.mode == describing {
		sp.doc = joinNonEmpty(". ", sp.doc, words.meanings())
	}
	b.visit(key, sp, field{
		kind: "word", allowed: words.allowed(), def: quote(sp.def),
		decode: func(n *Node) {
			if v, ok := word(b, key, joinPath(b.path, key), n, words); ok {
				*p = v
			}
		},
		preset:  func() { *p = def },
		text:    func() string { return wordText(words, *p) },
		absent:  func() bool { return *p == zero },
		invalid: func() string { return unnamed(words, *p) },
	})
}

func wordText[T comparable](words Words[T], v T) string {
	name, ok := words.Name(v)
	if !ok {
		return quote(fmt.Sprint(v))
	}
	return quote(name)
}

func unnamed[T comparable](words Words[T], v T) string {
	if _, ok := words.Name(v); !ok {
		return "the value has no word"
	}
	return ""
}

// word reads one word from a text node.
func word[T comparable](b *Block, key, path string, n *Node, words Words[T]) (v T, ok bool) {
	f := harness.Finding{Field: path, Allowed: words.allowed()}
	if n.Kind != StringNode {
		b.wrongType(key, n, f, "a word")
		return v, false
	}
	if v, ok = words.Find(n.Text); !ok {
		f.Reason, f.Fix = "unknown word", didYouMean(n.Text, words.Names())
		b.error(key, n, f)
	}
	return v, ok
}

// Set visits a list of words whose values are bits; the value is their union.
// Len bounds the number of words. The order in the text does not matter; it is
// written in the order of words.
func Set[T Integer](b *Block, p *T, key string, words Words[T], opts ...Option) {
	sp := newSpec(opts)
	if sp.hasDef && !sp.rawDef {
		b.fault(key, "a set takes DefaultRaw")
	}
	allowed := joinNonEmpty(" of ", countText(sp, 0), words.allowed())
	b.visit(key, sp, field{
		kind: "set of words", allowed: allowed, def: setText(words, T(sp.defRaw)),
		decode: func(n *Node) {
			items, ok := b.items(key, n, sp, 0, "a list of words")
			var sum T
			for i, it := range items {
				v, good := word(b, key, itemPath(b, key, i), it, words)
				if good && sum&v == v && v != 0 {
					b.error(key, it, harness.Finding{Field: itemPath(b, key, i), Reason: "word repeated", Fix: "remove it"})
				}
				sum |= v
				ok = ok && good
			}
			if ok {
				*p = sum
			}
		},
		preset:  func() { *p = T(sp.defRaw) },
		text:    func() string { return setText(words, *p) },
		absent:  func() bool { return *p == 0 },
		invalid: func() string { return leftover(words, *p) },
	})
}

func setText[T Integer](words Words[T], v T) string {
	var parts []string
	for _, w := range words {
		if w.Value != 0 && v&w.Value == w.Value {
			parts = append(parts, quote(w.Name))
		}
	}
	return "[" + strings.Join(parts, ", ") + "]"
}

func leftover[T Integer](words Words[T], v T) string {
	for _, w := range words {
		if v&w.Value == w.Value {
			v &^= w.Value
		}
	}
	if v != 0 {
		return fmt.Sprintf("bits %#x have no word", v)
	}
	return ""
}
