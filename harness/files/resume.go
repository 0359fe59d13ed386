package files

import (
	"fmt"
	"regexp"
	"strings"

	"github.com/holdline/holdline/harness"
)

var (
	keyStart    = regexp.MustCompile(`^\s*([A-Za-z_][A-Za-z0-9_-]*)\s*=`)
	otherStart  = regexp.MustCompile(`^\s*("[^"]*"|'[^']*'|[A-Za-z_][A-Za-z0-9_-]*)(\s*\.\s*("[^"]*"|'[^']*'|[A-Za-z0-9_-]+))*\s*=`)
	headerStart = regexp.MustCompile(`^\s*\[\[?\s*[A-Za-z_][^,=]*$`)
	headerName  = regexp.MustCompile(`^\s*(\[\[?)\s*([A-Za-z_][A-Za-z0-9_.-]*)`)
	listRow     = regexp.MustCompile(`^\s*\[\s*[-+\[\d]`)

	commaNumber = regexp.MustCompile(`=\s*[-+]?\d+,\d+\s*$`)
	unitNumber  = regexp.MustCompile(`=\s*[-+]?[\d.]+\s*[A-Za-z%][A-Za-z/%0-9]*\s*$`)
	bareWord    = regexp.MustCompile(`=\s*([A-Za-z][A-Za-z0-9_ -]*)$`)
	colonKey    = regexp.MustCompile(`^\s*[A-Za-z_][A-Za-z0-9_-]*\s*:`)
)

// resume reports a syntax error at errAt in the first expression behind
// offset end, keeps what can be recognised of that expression, and returns
// where to go on.
func (b *builder) resume(end, errAt int, reason string) int {
	line := b.failedLine(end, errAt)
	text := b.lineText(line)
	f := harness.Finding{Reason: "syntax: " + reason, Value: shorten(strings.TrimSpace(text)), Fix: hint(text)}
	pos := b.pos(errAt)
	if f.Fix == "" && pos.Line > line+1 {
		f.Fix = fmt.Sprintf("look for a bracket or quote left open from line %d on", line+1)
	}
	b.salvage(line, text, &f)
	b.report(pos, f)
	if b.syntax++; b.syntax >= maxSyntaxFindings {
		b.report(pos, harness.Finding{Reason: "too many syntax errors; the rest was not read", Fix: "check that this is the right file"})
		b.doc.Partial = true
		return len(b.text)
	}
	for line++; line < len(b.lines); line++ {
		if looksLikeStart(b.lineText(line)) {
			return b.lines[line]
		}
	}
	return len(b.text)
}

// failedLine finds the line (from 0) on which the expression that failed
// starts: the first one behind end that is neither blank nor a comment, or the
// line of the error itself if that comes before.
func (b *builder) failedLine(end, errAt int) int {
	line, errLine := b.pos(end).Line-1, b.pos(errAt).Line-1
	if end > 0 && end > b.lines[line] {
		line++
	}
	for line < errLine {
		t := strings.TrimSpace(b.lineText(line))
		if t != "" && t[0] != '#' {
			break
		}
		line++
	}
	return min(line, errLine)
}

func (b *builder) lineText(line int) string {
	end := len(b.text)
	if line+1 < len(b.lines) {
		end = b.lines[line+1]
	}
	return strings.TrimRight(string(b.text[b.lines[line]:end]), "\r\n")
}

func looksLikeStart(text string) bool {
	return otherStart.MatchString(text) || headerStart.MatchString(withoutComment(text)) || colonKey.MatchString(text)
}

// withoutComment cuts a trailing comment; good enough for guesses.
func withoutComment(text string) string {
	t, _, _ := strings.Cut(text, "#")
	return strings.TrimRight(t, " \t")
}

// salvage keeps what a broken line names, so that one slip does not make a
// row of findings: a header still opens its table, a key still counts as
// written.
func (b *builder) salvage(line int, text string, f *harness.Finding) {
	if m := headerName.FindStringSubmatch(text); m != nil {
		f.Field = m[2]
		var keys []keyPart
		for _, name := range strings.Split(m[2], ".") {
			if name == "" {
				b.lose()
				return
			}
			keys = append(keys, keyPart{name: name, pos: Pos{line + 1, 1 + strings.Index(text, m[2])}})
		}
		b.header(keys, m[1] == "[[")
		return
	}
	if strings.HasPrefix(strings.TrimSpace(text), "[") {
		if !listRow.MatchString(text) {
			b.lose()
		}
		return
	}
	m := keyStart.FindStringSubmatchIndex(text)
	if m == nil {
		return
	}
	key := text[m[2]:m[3]]
	f.Field = joinPath(b.path, key)
	if b.cur.Get(key) == nil {
		pos := Pos{line + 1, m[2] + 1}
		b.cur.add(&Node{Kind: BadNode, Key: key, KeyPos: pos, Pos: pos})
	}
}

// hint guesses the slip behind a line that is not TOML.
func hint(text string) string {
	t := withoutComment(text)
	switch {
	case commaNumber.MatchString(t):
		return "write a decimal point, not a comma"
	case unitNumber.MatchString(t):
		return "write the number alone: the key names the unit"
	case colonKey.MatchString(t):
		return "write key = value"
	}
	if m := bareWord.FindStringSubmatch(t); m != nil {
		return fmt.Sprintf("put the word in quotes: %q", m[1])
	}
	return ""
}
