package record

import (
	"bytes"
	"maps"
	"slices"
	"strings"
)

// Words makes numbers of a column that is written in words, such as ON and OFF.
type Words struct {
	Column string
	Means  map[string]float64 // by word, in upper or lower case
	// Between separates the words of a cell that may list several: what they mean is
	// added up, and an empty cell is 0. 0: a cell is one word.
	Between byte
}

// meaning gives the number of a cell, or false if it holds any other word.
func (w *Words) meaning(cell []byte) (float64, bool) {
	if w.Between == 0 {
		return w.word(cell)
	}
	sum := 0.0
	for len(cell) > 0 {
		word, rest, _ := bytes.Cut(cell, []byte{w.Between})
		x, ok := w.word(word)
		if !ok {
			return 0, false
		}
		sum, cell = sum+x, rest
	}
	return sum, true
}

func (w *Words) word(text []byte) (float64, bool) {
	if x, ok := w.Means[string(text)]; ok {
		return x, true
	}
	for word, x := range w.Means { // at most one: check has seen to it
		if strings.EqualFold(word, string(text)) {
			return x, true
		}
	}
	return 0, false
}

// means reports whether a cell is of stated words, of whatever column.
func (o *Options) means(cell []byte) bool {
	for i := range o.Words {
		if _, ok := o.Words[i].meaning(cell); ok && len(cell) > 0 {
			return true
		}
	}
	return false
}

// starts reports whether a text is the start of what a cell may hold.
func (w *Words) starts(text []byte) bool {
	if w == nil {
		return false
	}
	if w.Between != 0 {
		text = text[bytes.LastIndexByte(text, w.Between)+1:]
	}
	for word := range w.Means {
		if len(text) < len(word) && strings.EqualFold(word[:len(text)], string(text)) {
			return true
		}
	}
	return false
}

// list is what a cell may hold, in the order of the alphabet.
func (w *Words) list() string { return strings.Join(slices.Sorted(maps.Keys(w.Means)), ", ") }

// check returns what is wrong with the words themselves.
func (w *Words) check(l *findingLog, seen map[string]bool) {
	if len(w.Means) == 0 || seen[w.Column] {
		l.err("words", w.Column, "each column once, with its words", "words of the column cannot be used", "")
	}
	seen[w.Column] = true
	lower := map[string]bool{}
	for _, word := range slices.Sorted(maps.Keys(w.Means)) {
		if lower[strings.ToLower(word)] {
			l.err("words", word, "", "the word has two meanings: upper and lower case count alike", "leave one out")
		}
		lower[strings.ToLower(word)] = true
	}
}
