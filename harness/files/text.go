package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/harness"
)

// Text visits a text. Len bounds its bytes; control characters other than
// tab and line feed are refused.
func Text[T ~string](b *Block, p *T, key string, opts ...Option) {
	sp := newSpec(opts)
	b.visit(key, sp, field{
		kind: "text", allowed: allowedText(sp), def: quote(sp.def),
		decode: func(n *Node) {
			if s, ok := b.plainText(key, joinPath(b.path, key), n, sp); ok {
				*p = T(s)
			}
		},
		preset:  func() { *p = T(sp.def) },
		text:    func() string { return quote(string(*p)) },
		absent:  func() bool { return *p == "" },
		invalid: func() string { return badText(string(*p), sp) },
	})
}

func allowedText(sp *spec) string {
	if !sp.hasLen {
		return ""
	}
	return fmt.Sprintf("%d to %d bytes", sp.minLen, sp.maxLen)
}

func (b *Block) plainText(key, path string, n *Node, sp *spec) (string, bool) {
	f := harness.Finding{Field: path, Allowed: allowedText(sp)}
	if n.Kind != StringNode {
		b.wrongType(key, n, f, "text")
		return "", false
	}
	text := strings.ReplaceAll(n.Text, "\r\n", "\n") // as TOML lets a reader do
	if f.Reason = badText(text, sp); f.Reason != "" {
		b.error(key, n, f)
		return "", false
	}
	return text, true
}

func badText(s string, sp *spec) string {
	if sp.hasLen && len(s) < sp.minLen {
		return "too short"
	}
	if sp.hasLen && len(s) > sp.maxLen {
		return "too long"
	}
	if strings.ToValidUTF8(s, "") != s {
		return "text that is not UTF-8"
	}
	for _, c := range s {
		if c < ' ' && c != '\n' && c != '\t' || c == 0x7F {
			return "control character in a text"
		}
	}
	return ""
}

// quote writes a TOML basic string on one line.
func quote(s string) string {
	var out strings.Builder
	out.WriteByte('"')
	for _, c := range s {
		switch {
		case c == '"' || c == '\\':
			out.WriteByte('\\')
			out.WriteRune(c)
		case c == '\n':
			out.WriteString(`\n`)
		case c < ' ' || c == 0x7F:
			fmt.Fprintf(&out, `\u%04X`, c)
		default:
			out.WriteRune(c)
		}
	}
	out.WriteByte('"')
	return out.String()
}
