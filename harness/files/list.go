package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/harness"
)

// Seq is where the items of a list live: a slice, or an array with a count.
type Seq[T any] struct {
	max    int // most items; 0: any number
	exact  bool
	get    func() []T
	resize func(n int) []T // n zeroed items
}

// Slice keeps the items in *p.
func Slice[T any](p *[]T) Seq[T] {
	return Seq[T]{
		get:    func() []T { return *p },
		resize: func(n int) []T { *p = make([]T, n); return *p },
	}
}

// Array keeps the items at the start of a (a slice of a fixed-capacity array)
// and their number in *n.
func Array[T any, N Integer](a []T, n *N) Seq[T] {
	return Seq[T]{
		max: len(a),
		get: func() []T { return a[:min(max(int(*n), 0), len(a))] },
		resize: func(k int) []T {
			clear(a)
			*n = N(k)
			return a[:k]
		},
	}
}

// Fixed keeps exactly len(a) items in a.
func Fixed[T any](a []T) Seq[T] {
	return Seq[T]{
		max: len(a), exact: true,
		get:    func() []T { return a },
		resize: func(k int) []T { clear(a); return a[:k] },
	}
}

// lengths gives the allowed number of items; hi is -1 if unbounded.
func lengths(sp *spec, capacity int) (lo, hi int) {
	lo, hi = 0, -1
	if sp.hasLen {
		lo, hi = sp.minLen, sp.maxLen
	}
	if capacity > 0 && (hi < 0 || hi > capacity) {
		hi = capacity
	}
	return lo, hi
}

func countText(sp *spec, capacity int) string {
	lo, hi := lengths(sp, capacity)
	switch {
	case hi < 0 && lo == 0:
		return ""
	case hi < 0:
		return fmt.Sprintf("at least %d", lo)
	case lo == hi:
		return fmt.Sprint(lo)
	case lo == 0:
		return fmt.Sprintf("up to %d", hi)
	}
	return fmt.Sprintf("%d to %d", lo, hi)
}

func itemPath(b *Block, key string, i int) string {
	return fmt.Sprintf("%s[%d]", joinPath(b.path, key), i+1)
}

// items returns the items of a list node, cut to the greatest length allowed,
// after reporting a wrong kind or length.
func (b *Block) items(key string, n *Node, sp *spec, capacity int, want string) ([]*Node, bool) {
	if n.Kind != ListNode {
		b.wrongType(key, n, harness.Finding{}, want)
		return nil, false
	}
	lo, hi := lengths(sp, capacity)
	items := n.Items
	if len(items) >= lo && (hi < 0 || len(items) <= hi) {
		return items, true
	}
	b.error(key, n, harness.Finding{
		Reason: "wrong number of items", Value: fmt.Sprint(len(items)), Allowed: countText(sp, capacity),
	})
	if hi >= 0 && len(items) > hi {
		items = items[:hi]
	}
	return items, false
}

// listField visits a list whose items are read and written one by one.
func listField[T any](b *Block, seq Seq[T], key string, sp *spec, f field, read func(i int, path string, n *Node) (T, bool), text func(T) string) {
	if seq.exact && !sp.hasLen {
		sp.hasLen, sp.minLen, sp.maxLen = true, seq.max, seq.max
	}
	if sp.hasDef {
		b.fault(key, "a list takes no default; use Optional")
		sp.hasDef = false
	}
	f.allowed = joinNonEmpty(", ", countText(sp, seq.max), f.allowed)
	f.decode = func(n *Node) {
		nodes, ok := b.items(key, n, sp, seq.max, "a "+f.kind)
		values := make([]T, len(nodes))
		for i, it := range nodes {
			v, good := read(i, itemPath(b, key, i), it)
			values[i], ok = v, ok && good
		}
		if ok {
			copy(seq.resize(len(values)), values)
		}
	}
	f.text = func() string {
		var parts []string
		for _, v := range seq.get() {
			parts = append(parts, text(v))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	}
	f.absent = func() bool { return len(seq.get()) == 0 }
	b.visit(key, sp, f)
}

// Ints visits a list of numbers. Range bounds each number, Len their count,
// Rising their order.
func Ints[T Integer](b *Block, seq Seq[T], key string, s Scale, opts ...Option) {
	sp := newSpec(opts)
	lo, hi := limits[T](b, key, s, sp)
	var last *int64 // the last good number, for rising
	read := func(i int, path string, n *Node) (T, bool) {
		if i == 0 {
			last = nil
		}
		v, ok := b.number(key, path, n, s, sp, lo, hi)
		if ok && sp.rising && last != nil && v <= *last {
			b.error(key, n, harness.Finding{Field: path, Reason: "must be above the number before it", Allowed: "above " + s.Shown(*last)})
			return 0, false
		}
		if ok {
			last = &v
		}
		return T(v), ok
	}
	allowed := allowedNumber(s, sp, lo, hi)
	if sp.rising {
		allowed = joinNonEmpty(", ", allowed, "rising")
	}
	f := field{kind: "list of numbers", unit: s.Unit, allowed: allowed, invalid: func() string {
		for _, v := range seq.get() {
			if why := outside(int64(v), lo, hi); why != "" {
				return why
			}
		}
		return ""
	}}
	listField(b, seq, key, sp, f, read, func(v T) string { return s.Format(int64(v)) })
}

// Enums visits a list of words in which the order matters.
func Enums[T comparable](b *Block, seq Seq[T], key string, words Words[T], opts ...Option) {
	f := field{kind: "list of words", allowed: words.allowed(), invalid: func() string {
		for _, v := range seq.get() {
			if why := unnamed(words, v); why != "" {
				return why
			}
		}
		return ""
	}}
	read := func(_ int, path string, n *Node) (T, bool) { return word(b, key, path, n, words) }
	listField(b, seq, key, newSpec(opts), f, read, func(v T) string { return wordText(words, v) })
}

// Values visits a list of values of any scalar kind, kept as they are written.
func Values(b *Block, seq Seq[string], key string, opts ...Option) {
	f := field{kind: "list of values", invalid: func() string {
		for _, v := range seq.get() {
			if valueOf(v) == nil {
				return "no value can be written as " + shorten(v)
			}
		}
		return ""
	}}
	read := func(_ int, path string, n *Node) (string, bool) {
		if n.Kind < StringNode || n.Kind > BoolNode {
			b.error(key, n, harness.Finding{Field: path, Reason: "not a plain value", Allowed: "a number, text, true or false"})
			return "", false
		}
		return n.Raw, true
	}
	listField(b, seq, key, newSpec(opts), f, read, func(v string) string { return v })
}

// Texts visits a list of texts.
func Texts[T ~string](b *Block, seq Seq[T], key string, opts ...Option) {
	f := field{kind: "list of texts", invalid: func() string {
		for _, v := range seq.get() {
			if why := badText(string(v), &spec{}); why != "" {
				return why
			}
		}
		return ""
	}}
	read := func(_ int, path string, n *Node) (T, bool) {
		s, ok := b.plainText(key, path, n, &spec{})
		return T(s), ok
	}
	listField(b, seq, key, newSpec(opts), f, read, func(v T) string { return quote(string(v)) })
}
