package files

import (
	"strings"

	"github.com/holdline/holdline/harness"
)

// Phrases visits scripted inputs: a list of texts with one or more phrases
// each, or one text. They are written as a list, one phrase a line.
func Phrases(b *Block, s *Script, key string, v *Vocabulary, opts ...Option) {
	sp := newSpec(opts)
	if sp.hasDef {
		b.fault(key, "phrases take no default; use Optional")
		sp.hasDef = false
	}
	b.visit(key, sp, field{
		kind: "list of phrases", allowed: "phrases such as \"NAME on at 1 s\"",
		decode: func(n *Node) { b.phrases(key, n, s, v) },
		text:   func() string { return phraseList(s, v) },
		absent: func() bool { return len(s.Actions) == 0 },
	})
}

func (b *Block) phrases(key string, n *Node, s *Script, v *Vocabulary) {
	*s = Script{Vocabulary: v}
	path := joinPath(b.path, key)
	switch n.Kind {
	case StringNode:
		b.phraseText(key, path, n, s)
	case ListNode:
		for i, it := range n.Items {
			if it.Kind != StringNode {
				b.wrongType(key, it, harness.Finding{Field: itemPath(b, key, i)}, "text")
				continue
			}
			b.phraseText(key, itemPath(b, key, i), it, s)
		}
	default:
		b.wrongType(key, n, harness.Finding{}, "a list of texts")
	}
	if len(s.Actions) > maxActions {
		b.error(key, n, harness.Finding{Reason: "too many phrases"})
	}
}

// phraseText parses the phrases of one text. Places inside it are exact as
// long as it has no escapes.
func (b *Block) phraseText(key, path string, n *Node, s *Script) {
	at := n.Pos
	switch {
	case strings.HasPrefix(n.Raw, `"""`) || strings.HasPrefix(n.Raw, `'''`):
		at.Column += 3
		if rest := n.Raw[3:]; strings.HasPrefix(rest, "\n") || strings.HasPrefix(rest, "\r\n") {
			at = Pos{at.Line + 1, 1}
		}
	default:
		at.Column++
	}
	one, findings := parseScriptAt(b.s.doc.File, n.Text, s.Vocabulary, at)
	for _, f := range findings {
		f.Field = path
		b.at(Pos{f.Line, f.Column}, f)
		b.markFailed(key, f.Severity)
	}
	for _, a := range one.Actions {
		a.Pos.Line += at.Line - 1
		if a.Pos.Line == at.Line {
			a.Pos.Column += at.Column - 1
		}
		s.Actions = append(s.Actions, a)
	}
}

func phraseList(s *Script, v *Vocabulary) string {
	own := Script{Vocabulary: v, Actions: s.Actions}
	if len(s.Actions) == 0 {
		return "[]"
	}
	var out strings.Builder
	out.WriteString("[\n")
	for i := range own.Actions {
		out.WriteString("  " + quote(own.Phrase(i)) + ",\n")
	}
	out.WriteByte(']')
	return out.String()
}
