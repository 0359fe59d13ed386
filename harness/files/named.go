package files

import (
	"fmt"
	"regexp"

	"github.com/holdline/holdline/harness"
)

var plainName = regexp.MustCompile(`^[A-Za-z0-9_-]{1,32}$`)

const nameRule = "1 to 32 letters, digits, - or _"

// Named visits tables that the user names, [key.NAME] in the text, one for
// each item of seq, in the order of the text. name gives where an item keeps
// its name. Len and Optional as in Tables.
func Named[T any](b *Block, seq Seq[T], key string, name func(v *T) *string, fields func(b *Block, v *T), opts ...Option) {
	sp := newSpec(opts)
	b.know(key)
	switch b.s.mode {
	case decoding:
		nodes, ok := b.named(key, sp, seq.max)
		if ok {
			decodeNamed(b, key, nodes, seq.resize(len(nodes)), name, fields)
		}
	case encoding:
		values := seq.get()
		for i := range values {
			k := key + "." + b.writableName(key, *name(&values[i]))
			b.writeTable(k, k, firstDoc(i, sp), false, func(s *Block) { fields(s, &values[i]) })
		}
	case describing:
		b.describeTables(key+".NAME", sp, seq.max, false, func(s *Block) { fields(s, new(T)) })
	}
}

func decodeNamed[T any](b *Block, key string, nodes []*Node, values []T, name func(v *T) *string, fields func(b *Block, v *T)) {
	holder := b.sub(key, key, "")
	for i, it := range nodes {
		*name(&values[i]) = it.Key
		sub := holder.sub(it.Key, it.Key, "")
		sub.node = it
		holder.run(sub, func(s *Block) { fields(s, &values[i]) })
	}
	if holder.failed != nil {
		b.markFailed(key, harness.Error)
	}
}

func (b *Block) writableName(key, name string) string {
	if !plainName.MatchString(name) {
		b.at(Pos{}, harness.Finding{
			Severity: harness.Error, Field: joinPath(b.path, key), Value: quote(name), Allowed: nameRule,
			Reason: "cannot be written: not a name",
		})
	}
	return name
}

// named returns the tables below a key, after reporting whatever else is
// there; ok is false if there is nothing to read.
func (b *Block) named(key string, sp *spec, capacity int) (tables []*Node, ok bool) {
	header := joinPath(b.header, key)
	n := b.take(key, !optionalTables(sp), countText(sp, capacity)+" tables ["+header+".NAME]")
	if n == nil {
		return nil, false
	}
	if n.Kind != TableNode {
		b.wrongType(key, n, harness.Finding{Fix: fmt.Sprintf("write [%s.NAME] headers", header)}, "tables with names")
		return nil, false
	}
	for _, it := range n.Keys {
		if b.isNamedTable(key, header, it) {
			tables = append(tables, it)
		}
	}
	lo, hi := lengths(sp, capacity)
	if len(tables) < lo || hi >= 0 && len(tables) > hi {
		b.error(key, n, harness.Finding{Reason: "wrong number of tables", Value: fmt.Sprint(len(tables)), Allowed: countText(sp, capacity)})
	}
	if hi >= 0 && len(tables) > hi {
		tables = tables[:hi]
	}
	return tables, true
}

func (b *Block) isNamedTable(key, header string, it *Node) bool {
	path := joinPath(joinPath(b.path, key), it.Key)
	switch {
	case it.Kind == BadNode:
		return false
	case it.Kind != TableNode:
		b.wrongType(key, it, harness.Finding{Field: path, Fix: fmt.Sprintf("write it under a [%s.NAME] header", header)}, "a table")
		return false
	case !plainName.MatchString(it.Key):
		b.markFailed(key, harness.Error)
		b.at(it.KeyPos, harness.Finding{Severity: harness.Error, Field: path, Value: shorten(it.Key), Allowed: nameRule, Reason: "is not a usable name"})
		return false
	}
	return true
}
