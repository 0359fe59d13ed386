package files

import (
	"github.com/pelletier/go-toml/v2/unstable"

	"github.com/holdline/holdline/harness"
)

// keyValue adds key = value to table t.
func (b *builder) keyValue(base int, t *Node, e *unstable.Node, depth int) {
	keys := b.keys(base, e)
	last := len(keys) - 1
	b.at = keys[last].end
	v := b.value(base, e.Value(), depth)
	if b.tooManyParts(keys) {
		return
	}
	for i, k := range keys[:last] {
		next := b.enter(t, k, dotted)
		if next == nil {
			b.report(k.pos, harness.Finding{
				Field: joinPath(b.path, dottedName(keys[:i+1])), Reason: "was written before and takes no dotted keys",
				Fix: "put the key under the table's own header",
			})
			return
		}
		t = next
	}
	k := keys[last]
	if first := t.Get(k.name); first != nil {
		b.repeated(keys, first, "key")
		return
	}
	v.Key, v.KeyPos = k.name, k.pos
	t.add(v)
}

// value converts the value at or behind the cursor. The cursor is needed
// because lists carry no place of their own in the parser's nodes.
func (b *builder) value(base int, v *unstable.Node, depth int) *Node {
	b.skipTo("=, \t\r\n")
	n := &Node{Pos: b.pos(b.at)}
	switch v.Kind {
	case unstable.Array:
		b.list(base, n, v, depth)
	case unstable.InlineTable:
		b.inline(base, n, v, depth)
	default:
		b.scalar(base, n, v)
	}
	return n
}

func (b *builder) scalar(base int, n *Node, v *unstable.Node) {
	at := base + int(v.Raw.Offset)
	b.at = at + int(v.Raw.Length)
	n.Pos = b.pos(at)
	n.Raw = string(b.text[at:b.at])
	switch v.Kind {
	case unstable.String:
		n.Kind, n.Text = StringNode, string(v.Data)
	case unstable.Bool:
		n.Kind = BoolNode
	case unstable.Integer:
		n.Kind = IntegerNode
	case unstable.Float:
		n.Kind = FloatNode
	default:
		n.Kind = TimeNode
	}
}

func (b *builder) list(base int, n *Node, v *unstable.Node, depth int) {
	n.Kind = ListNode
	if b.tooDeep(n, depth) {
		return
	}
	b.at++ // the bracket
	for it := v.Children(); it.Next(); {
		n.Items = append(n.Items, b.value(base, it.Node(), depth+1))
	}
	b.close(']')
}

func (b *builder) inline(base int, n *Node, v *unstable.Node, depth int) {
	n.Kind, n.origin = TableNode, headed
	if b.tooDeep(n, depth) {
		return
	}
	b.at++ // the brace
	for it := v.Children(); it.Next(); {
		b.keyValue(base, n, it.Node(), depth+1)
	}
	b.close('}')
	n.origin = enclosed // complete as written: nothing may be added, however deep
}

// tooDeep refuses nesting that no file kind has. The cursor is then lost for
// the rest of the value, which costs places, not safety.
func (b *builder) tooDeep(n *Node, depth int) bool {
	if depth < maxDepth {
		return false
	}
	n.Kind = BadNode
	b.report(n.Pos, harness.Finding{Reason: "lists are nested too deep", Fix: "no file kind needs this; check the brackets"})
	return true
}

// close moves the cursor behind the closing bracket.
func (b *builder) close(bracket byte) {
	b.skipTo(", \t\r\n")
	if b.at < len(b.text) && b.text[b.at] == bracket {
		b.at++
	}
}

// skipTo moves the cursor over the given bytes and over comments.
func (b *builder) skipTo(skipped string) {
	for b.at < len(b.text) {
		c := b.text[b.at]
		if c == '#' {
			for b.at < len(b.text) && b.text[b.at] != '\n' {
				b.at++
			}
			continue
		}
		if !containsByte(skipped, c) {
			return
		}
		b.at++
	}
}

func containsByte(s string, c byte) bool {
	for i := range len(s) {
		if s[i] == c {
			return true
		}
	}
	return false
}
