package require

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness"
)

type tokenKind uint8

const (
	tokEnd    tokenKind = iota
	tokName             // channel, moment, label or function
	tokQuoted           // the same in double quotes: any characters
	tokWord             // keyword
	tokNumber           // with its unit, if any
	tokSign             // operator or bracket
)

type token struct {
	kind tokenKind
	text string // without quotes; of a number, its unit
	num  float64
	pos  int // byte offset
	end  int
}

var keywords = map[string]bool{
	"always": true, "eventually": true, "once": true, "historically": true,
	"until": true, "since": true, "and": true, "or": true, "not": true,
	"implies": true, "within": true, "from": true, "to": true, "between": true,
	"before": true, "after": true, "back": true, "at": true, "is": true,
	"has": true, "true": true, "false": true,
}

// syntaxError is a finding at a byte offset.
func syntaxError(pos int, reason, value, allowed, fix string) harness.Findings {
	return harness.Findings{{
		Severity: harness.Error, Column: pos + 1,
		Reason: reason, Value: value, Allowed: allowed, Fix: fix,
	}}
}

// lex splits a formula into tokens, the last one tokEnd.
func lex(src string) ([]token, error) {
	var toks []token
	for i := 0; ; {
		for i < len(src) && strings.IndexByte(" \t\r\n", src[i]) >= 0 {
			i++
		}
		if i == len(src) {
			return append(toks, token{kind: tokEnd, pos: i, end: i}), nil
		}
		tok, err := lexOne(src, i)
		if err != nil {
			return nil, err
		}
		toks = append(toks, tok)
		i = tok.end
	}
}

func lexOne(src string, i int) (token, error) {
	c := src[i]
	switch {
	case isNameStart(c):
		end := nameEnd(src, i)
		kind := tokName
		if keywords[src[i:end]] {
			kind = tokWord
		}
		return token{kind: kind, text: src[i:end], pos: i, end: end}, nil
	case isDigit(c):
		return lexNumber(src, i)
	case c == '"':
		return lexQuoted(src, i)
	}
	for _, sign := range []string{"<=", ">=", "==", "!=", "<", ">", "(", ")", "+", "-", "*", "/", ","} {
		if strings.HasPrefix(src[i:], sign) {
			return token{kind: tokSign, text: sign, pos: i, end: i + len(sign)}, nil
		}
	}
	r := []rune(src[i:min(len(src), i+4)])[0]
	fix := ""
	if c == '=' {
		fix = "write == to compare"
	}
	return token{}, syntaxError(i, "character has no meaning here", strconv.QuoteRune(r), "", fix)
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func isNameStart(c byte) bool {
	return c == '_' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
}

// nameEnd is the offset after a name. A dot inside it groups: shot1.duty.
func nameEnd(src string, i int) int {
	for i < len(src) && (isNameStart(src[i]) || isDigit(src[i]) ||
		src[i] == '.' && i+1 < len(src) && isNameStart(src[i+1])) {
		i++
	}
	return i
}

func lexQuoted(src string, i int) (token, error) {
	n := strings.IndexAny(src[i+1:], "\"\n")
	if n < 0 || src[i+1+n] == '\n' {
		return token{}, syntaxError(i, "quote is not closed on its line", "", "", `end the name with "`)
	}
	if n == 0 {
		return token{}, syntaxError(i, "name is empty", `""`, "", "")
	}
	return token{kind: tokQuoted, text: src[i+1 : i+1+n], pos: i, end: i + n + 2}, nil
}

// lexNumber reads digits, an optional fraction and exponent, and the unit.
func lexNumber(src string, i int) (token, error) {
	end := digits(src, i)
	if end+1 < len(src) && src[end] == '.' && isDigit(src[end+1]) {
		end = digits(src, end+1)
	}
	if e := exponentEnd(src, end); e > 0 {
		end = e
	}
	v, err := strconv.ParseFloat(src[i:end], 64)
	if err != nil {
		return token{}, syntaxError(i, "number is too large", src[i:end], "", "")
	}
	tok := token{kind: tokNumber, num: v, pos: i, end: end}
	return withUnit(src, tok)
}

func digits(src string, i int) int {
	for i < len(src) && isDigit(src[i]) {
		i++
	}
	return i
}

func exponentEnd(src string, i int) int {
	if i >= len(src) || src[i] != 'e' && src[i] != 'E' {
		return 0
	}
	j := i + 1
	if j < len(src) && (src[j] == '+' || src[j] == '-') {
		j++
	}
	if end := digits(src, j); end > j {
		return end
	}
	return 0
}

// withUnit takes in the unit that follows a number, if one does. A name there
// that is neither unit nor keyword is an error: nothing else can follow.
func withUnit(src string, tok token) (token, error) {
	i := tok.end
	for i < len(src) && (src[i] == ' ' || src[i] == '\t') {
		i++
	}
	if i < len(src) && src[i] == '%' {
		tok.text, tok.end = "percent", i+1
		return tok, nil
	}
	if i == len(src) || !isNameStart(src[i]) {
		return tok, nil
	}
	end := nameEnd(src, i)
	if keywords[src[i:end]] {
		return tok, nil
	}
	if end+1 < len(src) && src[end] == '/' && isNameStart(src[end+1]) {
		if e := nameEnd(src, end+1); isUnit(src[i:e]) {
			end = e
		}
	}
	if !isUnit(src[i:end]) {
		fix := "units are " + strings.Join(Units(), ", ")
		if near := nearest(src[i:end], Units()); near != "" {
			fix = fmt.Sprintf("did you mean %s?", near)
		}
		return token{}, syntaxError(i, "not a unit", src[i:end], "", fix)
	}
	tok.text, tok.end = src[i:end], end
	return tok, nil
}

func isUnit(s string) bool {
	_, ok := lookupUnit(s)
	return ok
}
