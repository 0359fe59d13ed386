package files

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/harness"
)

// Grid visits a matrix of numbers, a list of rows in the text. cells holds
// row after row, Stride numbers apart (by default cols). rows and cols are
// usually the lengths of two axes visited before; if one is 0 because its
// axis had an error, only the shape of the rows is checked and cells stays
// untouched. Range bounds each number. A matrix without Optional is required.
func Grid[T Integer](b *Block, cells []T, rows, cols int, key string, s Scale, opts ...Option) {
	sp := newSpec(opts)
	g := &grid[T]{b: b, key: key, cells: cells, rows: rows, cols: cols, scale: s, sp: sp}
	g.lo, g.hi = limits[T](b, key, s, sp)
	if g.stride = sp.stride; g.stride == 0 {
		g.stride = cols
	}
	if sp.hasDef {
		b.fault(key, "a matrix takes no default; use Optional")
		sp.hasDef = false
	}
	b.visit(key, sp, field{
		kind: "matrix of numbers", unit: s.Unit, allowed: allowedNumber(s, sp, g.lo, g.hi),
		decode: g.decode, text: g.text, absent: g.empty, invalid: g.invalid,
	})
}

type grid[T Integer] struct {
	b          *Block
	key        string
	cells      []T
	rows, cols int
	stride     int
	scale      Scale
	sp         *spec
	lo, hi     int64
}

func (g *grid[T]) fits() bool {
	return g.rows > 0 && g.cols > 0 && g.stride >= g.cols && (g.rows-1)*g.stride+g.cols <= len(g.cells)
}

func (g *grid[T]) decode(n *Node) {
	b, key := g.b, g.key
	if n.Kind != ListNode {
		b.wrongType(key, n, harness.Finding{}, "a list of rows")
		return
	}
	ok := g.count(n, joinPath(b.path, key), "rows", len(n.Items), g.rows)
	width := g.cols
	var values []T
	for i, row := range n.Items {
		if width <= 0 {
			width = len(row.Items)
		}
		v, good := g.row(row, itemPath(b, key, i), width)
		values, ok = append(values, v...), ok && good
	}
	if ok && g.fits() {
		g.store(values)
	}
}

func (g *grid[T]) row(n *Node, path string, width int) ([]T, bool) {
	if n.Kind != ListNode {
		g.b.wrongType(g.key, n, harness.Finding{Field: path}, "a list of numbers")
		return nil, false
	}
	ok := g.count(n, path, "values in the row", len(n.Items), width)
	values := make([]T, len(n.Items))
	for j, it := range n.Items {
		v, good := g.b.number(g.key, fmt.Sprintf("%s[%d]", path, j+1), it, g.scale, g.sp, g.lo, g.hi)
		values[j], ok = T(v), ok && good
	}
	return values, ok
}

func (g *grid[T]) count(n *Node, path, what string, got, want int) bool {
	if want <= 0 || got == want {
		return true
	}
	g.b.error(g.key, n, harness.Finding{
		Field: path, Reason: "wrong number of " + what, Value: fmt.Sprint(got), Allowed: fmt.Sprint(want),
		Fix: "one for each point of the axis",
	})
	return false
}

func (g *grid[T]) store(values []T) {
	for r := range g.rows {
		copy(g.cells[r*g.stride:r*g.stride+g.cols], values[r*g.cols:])
	}
}

func (g *grid[T]) empty() bool { return g.rows <= 0 || g.cols <= 0 }

// text lines the columns up, one row a line.
func (g *grid[T]) text() string {
	if !g.fits() {
		return "[]"
	}
	wide := make([]int, g.cols)
	for r := range g.rows {
		for c := range g.cols {
			wide[c] = max(wide[c], len(g.cell(r, c)))
		}
	}
	var out strings.Builder
	out.WriteString("[\n")
	for r := range g.rows {
		out.WriteString("  [")
		for c := range g.cols {
			if c > 0 {
				out.WriteString(", ")
			}
			fmt.Fprintf(&out, "%*s", wide[c], g.cell(r, c))
		}
		out.WriteString("],\n")
	}
	out.WriteByte(']')
	return out.String()
}

func (g *grid[T]) cell(r, c int) string { return g.scale.Format(int64(g.cells[r*g.stride+c])) }

func (g *grid[T]) invalid() string {
	if !g.fits() {
		return "the matrix does not fit its axes"
	}
	for r := range g.rows {
		for c := range g.cols {
			if why := outside(int64(g.cells[r*g.stride+c]), g.lo, g.hi); why != "" {
				return why
			}
		}
	}
	return ""
}
