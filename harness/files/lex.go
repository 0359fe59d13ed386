package files

import "strings"

type tokenKind uint8

const (
	wordToken tokenKind = iota
	numberToken
	endToken // ; or the end of a line or text
)

// token is one word, number or phrase end, with its place in the text.
type token struct {
	kind tokenKind
	text string
	pos  Pos
}

func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= 0x80 }
func isDigit(c byte) bool  { return c >= '0' && c <= '9' }

// lexPhrases cuts a text into tokens. Words run to the next space, semicolon
// or comment; a number ends where its digits do, so that 100% and 12s need no
// space. Every phrase ends with an endToken, the last one too.
func lexPhrases(text string) []token {
	var tokens []token
	line, lineStart := 1, 0
	for i := 0; i < len(text); {
		c := text[i]
		pos := Pos{line, i - lineStart + 1}
		switch {
		case c == '\n':
			tokens = append(tokens, token{endToken, "end of line", pos})
			i++
			line, lineStart = line+1, i
		case c == ';':
			tokens = append(tokens, token{endToken, ";", pos})
			i++
		case c == ' ' || c == '\t' || c == '\r':
			i++
		case c == '#':
			i = skipComment(text, i)
		default:
			t := nextToken(text[i:])
			t.pos = pos
			tokens = append(tokens, t)
			i += len(t.text)
		}
	}
	return append(tokens, token{endToken, "end of text", Pos{line, len(text) - lineStart + 1}})
}

func skipComment(text string, i int) int {
	if n := strings.IndexByte(text[i:], '\n'); n >= 0 {
		return i + n
	}
	return len(text)
}

func nextToken(s string) token {
	if n := numberLength(s); n > 0 {
		return token{kind: numberToken, text: s[:n]}
	}
	n := strings.IndexAny(s, " \t\r\n;#")
	if n < 0 {
		n = len(s)
	}
	return token{kind: wordToken, text: s[:n]}
}

// numberLength returns the length of the number that s starts with, 0 if
// none. A comma between digits is kept in, so that it can be reported.
func numberLength(s string) int {
	i := 0
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		i++
	}
	if i >= len(s) || !isDigit(s[i]) {
		return 0
	}
	for i < len(s) && (isDigit(s[i]) || (s[i] == '.' || s[i] == ',') && i+1 < len(s) && isDigit(s[i+1])) {
		i++
	}
	return i
}
