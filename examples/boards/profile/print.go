//go:build unix

package main

import (
	"cmp"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"path/filepath"
	"slices"

	"github.com/holdline/holdline/examples/boards/lines"
)

func report(w io.Writer, firmware *lines.Firmware, counts map[uint32]int, steps int) {
	byLine, byFunction, byFile := map[string]int{}, map[string]int{}, map[string]int{}
	total := 0
	names := naming{}
	for address, n := range counts {
		file, line := firmware.At(address)
		total += n
		base := filepath.Base(filepath.Dir(file)) + "/" + filepath.Base(file)
		byLine[fmt.Sprintf("%s:%d", base, line)] += n
		byFunction[base+" "+names.function(file, line)] += n
		byFile[base] += n
	}
	fmt.Fprintf(w, "%d steps, %.1f instructions a step\n", steps, float64(total)/float64(steps))
	table(w, "by file", byFile, steps, 20)
	table(w, "by function", byFunction, steps, 60)
	table(w, "by line", byLine, steps, 80)
}

func table(w io.Writer, title string, counts map[string]int, steps, most int) {
	keys := make([]string, 0, len(counts))
	for k := range counts {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int {
		return cmp.Or(cmp.Compare(counts[b], counts[a]), cmp.Compare(a, b))
	})
	fmt.Fprintf(w, "\n%s\n", title)
	for _, k := range keys[:min(most, len(keys))] {
		fmt.Fprintf(w, "%9.1f  %s\n", float64(counts[k])/float64(steps), k)
	}
}

// naming finds the function around a line, from the source.
type naming map[string][]span

type span struct {
	from, to int
	name     string
}

func (n naming) function(file string, line int) string {
	spans, ok := n[file]
	if !ok {
		spans = functions(file)
		n[file] = spans
	}
	for _, s := range spans {
		if s.from <= line && line <= s.to {
			return s.name
		}
	}
	return ""
}

func functions(file string) (spans []span) {
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, file, nil, 0)
	if err != nil {
		return nil
	}
	for _, d := range f.Decls {
		if fn, ok := d.(*ast.FuncDecl); ok {
			spans = append(spans, span{set.Position(fn.Pos()).Line, set.Position(fn.End()).Line, fn.Name.Name})
		}
	}
	return spans
}
