package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/harness"
)

// Table visits a nested table. If the text lacks it, its fields take their
// defaults; a required field in it is then one finding for the whole table.
func Table(b *Block, key string, fields func(b *Block), opts ...Option) {
	sp := newSpec(opts)
	b.know(key)
	sub := b.sub(key, key, sp.doc)
	if b.s.mode == decoding {
		n := b.take(key, false, "")
		if n != nil && n.Kind != TableNode {
			b.wrongType(key, n, harness.Finding{}, "a table")
			return
		}
		if n == nil && (b.Given(key) || b.refuse != "" || b.skip) {
			return
		}
		sub.node = n
		b.run(sub, fields)
		b.tableMissing(key, sub)
		return
	}
	b.run(sub, fields)
	b.subs = append(b.subs, sub)
}

func (b *Block) tableMissing(key string, sub *Block) {
	switch {
	case len(sub.missing) == 0:
	case b.node == nil:
		b.missing = append(b.missing, key)
	case b.s.doc.Partial:
	default:
		b.markFailed(key, harness.Error)
		b.at(b.place(), harness.Finding{
			Severity: harness.Error, Field: sub.path, Reason: "required table is missing",
			Fix: fmt.Sprintf("add [%s] with %s", sub.header, strings.Join(sub.missing, ", ")),
		})
	}
}

// OptionalTable visits a nested table that may be left out; *present says
// whether it is there. Its fields are visited only then.
func OptionalTable[B ~bool](b *Block, present *B, key string, fields func(b *Block), opts ...Option) {
	if b.s.mode == encoding && !bool(*present) {
		b.know(key)
		return
	}
	if b.s.mode == decoding {
		n := b.node.Get(key)
		*present = B(n != nil && n.Kind == TableNode && b.refuse == "" && !b.skip)
		if n == nil {
			b.know(key)
			return
		}
	}
	if b.s.mode == describing {
		opts = append(opts, Doc(joinNonEmpty(" ", newSpec(opts).doc, "May be left out.")))
	}
	Table(b, key, fields, opts...)
}

// sub makes the block of a nested table. pathKey names it in findings,
// headerKey in the text.
func (b *Block) sub(pathKey, headerKey, doc string) *Block {
	return &Block{s: b.s, outer: b, path: joinPath(b.path, pathKey), header: joinPath(b.header, headerKey), doc: doc}
}

func (b *Block) run(sub *Block, fields func(*Block)) {
	fields(sub)
	sub.finish()
	if sub.failed != nil {
		b.markFailed(lastStep(sub.header), harness.Error)
	}
}

func lastStep(header string) string { return header[strings.LastIndexByte(header, '.')+1:] }

// Tables visits a list of tables, [[key]] in the text, one for each item of
// seq. Len bounds their number; Optional lets all be left out.
func Tables[T any](b *Block, seq Seq[T], key string, fields func(b *Block, v *T), opts ...Option) {
	sp := newSpec(opts)
	b.know(key)
	switch b.s.mode {
	case decoding:
		nodes, ok := b.tableItems(key, sp, seq.max)
		if ok {
			decodeTables(b, key, nodes, seq.resize(len(nodes)), fields)
		}
	case encoding:
		values := seq.get()
		for i := range values {
			b.writeTable(key, fmt.Sprintf("%s[%d]", key, i+1), firstDoc(i, sp), true, func(s *Block) { fields(s, &values[i]) })
		}
	case describing:
		b.describeTables(key, sp, seq.max, true, func(s *Block) { fields(s, new(T)) })
	}
}

// tableItems returns the items of a list of tables; ok is false if there is
// none to read.
func (b *Block) tableItems(key string, sp *spec, capacity int) (nodes []*Node, ok bool) {
	n := b.take(key, !optionalTables(sp), countText(sp, capacity)+" tables")
	if n == nil {
		return nil, false
	}
	if n.Kind == TableNode {
		b.wrongType(key, n, harness.Finding{Fix: fmt.Sprintf("write [[%s]]", joinPath(b.header, key))}, "a list of tables")
		return nil, false
	}
	nodes, _ = b.items(key, n, sp, capacity, "a list of tables")
	return nodes, true
}

func decodeTables[T any](b *Block, key string, nodes []*Node, values []T, fields func(b *Block, v *T)) {
	for i, it := range nodes {
		if it.Kind != TableNode {
			b.wrongType(key, it, harness.Finding{Field: itemPath(b, key, i)}, "a table")
			continue
		}
		sub := b.sub(fmt.Sprintf("%s[%d]", key, i+1), key, "")
		sub.node = it
		b.run(sub, func(s *Block) { fields(s, &values[i]) })
	}
}

func optionalTables(sp *spec) bool { return sp.optional || sp.hasLen && sp.minLen == 0 }

func firstDoc(i int, sp *spec) string {
	if i > 0 {
		return ""
	}
	return sp.doc
}

func (b *Block) writeTable(headerKey, pathKey, doc string, list bool, fields func(*Block)) {
	sub := b.sub(pathKey, headerKey, doc)
	sub.list = list
	b.run(sub, fields)
	b.subs = append(b.subs, sub)
}

func (b *Block) describeTables(key string, sp *spec, capacity int, list bool, fields func(*Block)) {
	count := countText(sp, capacity)
	if count != "" {
		count = "Number of these: " + count + "."
	}
	if optionalTables(sp) {
		count = joinNonEmpty(" ", count, "May be left out.")
	}
	sub := b.sub(key, key, joinNonEmpty(" ", sp.doc, count))
	sub.list = list
	b.run(sub, fields)
	b.subs = append(b.subs, sub)
}
