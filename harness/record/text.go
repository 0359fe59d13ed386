package record

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/holdline/holdline/harness"
)

// toText makes valid, printable text of bytes from a file. What is not UTF-8 is
// taken as Latin-1, in which older loggers write the degree sign.
func toText(b []byte) string {
	s := string(b)
	if !utf8.Valid(b) {
		r := make([]rune, len(b))
		for i, c := range b {
			r[i] = rune(c)
		}
		s = string(r)
	}
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, s))
}

// splitTitle parts "MAP [kPa]" into name and unit. Brackets that are empty, as
// in "Speed ()", state no unit.
func splitTitle(title string) (name, unit string) {
	if title == "" {
		return "", ""
	}
	open, shut := byte('('), title[len(title)-1]
	switch shut {
	case ')':
	case ']':
		open = '['
	default:
		return title, ""
	}
	depth := 0
	for i := len(title) - 1; i >= 0; i-- {
		switch title[i] {
		case shut:
			depth++
		case open:
			depth--
		}
		if depth == 0 {
			if i == 0 {
				return title, ""
			}
			return strings.TrimSpace(title[:i]), strings.TrimSpace(title[i+1 : len(title)-1])
		}
	}
	return title, ""
}

// stripBrackets turns "[kPa]" into "kPa".
func stripBrackets(s string) string {
	if n := len(s); n >= 2 && (s[0] == '(' && s[n-1] == ')' || s[0] == '[' && s[n-1] == ']') {
		return strings.TrimSpace(s[1 : n-1])
	}
	return s
}

// words parts a title into lower-case words, at anything that is neither letter
// nor digit and between lower and upper case.
func words(s string) []string {
	var out []string
	var b strings.Builder
	flush := func() {
		if b.Len() > 0 {
			out = append(out, b.String())
			b.Reset()
		}
	}
	lower := false
	for _, r := range s {
		switch {
		case !unicode.IsLetter(r) && !unicode.IsDigit(r):
			flush()
			lower = false
			continue
		case unicode.IsUpper(r) && lower:
			flush()
		}
		lower = unicode.IsLower(r)
		b.WriteRune(unicode.ToLower(r))
	}
	flush()
	return out
}

func errorAt(line, column int) harness.Finding {
	return harness.Finding{Severity: harness.Error, Line: line, Column: column}
}

func warningAt(line, column int) harness.Finding {
	return harness.Finding{Severity: harness.Warning, Line: line, Column: column}
}
