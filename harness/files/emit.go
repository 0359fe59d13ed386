package files

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// line is one key of a table being written.
type line struct{ key, text, comment string }

const (
	lineWidth    = 100 // a trailing comment may reach to here
	commentWidth = 78  // comments above a key are wrapped to this
	commentFrom  = 34  // leftmost column of trailing comments, if keys are short
)

// print writes the block and the tables in it.
func (b *Block) print(out *strings.Builder) {
	if b.header == "" {
		writeComment(out, b.doc)
		if b.doc != "" {
			out.WriteByte('\n')
		}
	} else {
		out.WriteByte('\n')
		writeComment(out, b.doc)
		if b.list {
			fmt.Fprintf(out, "[[%s]]\n", b.header)
		} else {
			fmt.Fprintf(out, "[%s]\n", b.header)
		}
	}
	column := b.commentColumn()
	for _, l := range b.lines {
		l.print(out, column)
	}
	for _, s := range b.subs {
		s.print(out)
	}
}

// commentColumn lines trailing comments up behind the longest assignment that
// is not itself unusually long.
func (b *Block) commentColumn() int {
	column := commentFrom
	for _, l := range b.lines {
		if w := l.width() + 2; w <= lineWidth/2 && l.trails(w) {
			column = max(column, w)
		}
	}
	return column
}

func (l line) width() int { return utf8.RuneCountInString(l.key) + 3 + utf8.RuneCountInString(l.text) }

// trails reports whether the comment fits behind the value at a column.
func (l line) trails(column int) bool {
	at := max(column, l.width()+2)
	return !strings.Contains(l.text+l.comment, "\n") && at+2+utf8.RuneCountInString(l.comment) <= lineWidth
}

func (l line) print(out *strings.Builder, column int) {
	if l.comment == "" || !l.trails(column) {
		writeComment(out, l.comment)
		fmt.Fprintf(out, "%s = %s\n", l.key, l.text)
		return
	}
	pad := max(column-l.width(), 2)
	fmt.Fprintf(out, "%s = %s%s# %s\n", l.key, l.text, strings.Repeat(" ", pad), l.comment)
}

func writeComment(out *strings.Builder, text string) {
	for _, l := range wrap(text, commentWidth-2) {
		if l == "" {
			out.WriteString("#\n")
			continue
		}
		out.WriteString("# " + l + "\n")
	}
}

// wrap breaks text into lines of at most width characters where it can; line
// feeds in it stay.
func wrap(text string, width int) []string {
	if text == "" {
		return nil
	}
	var lines []string
	for _, paragraph := range strings.Split(text, "\n") {
		cur := ""
		for _, w := range strings.Fields(paragraph) {
			if cur != "" && utf8.RuneCountInString(cur)+1+utf8.RuneCountInString(w) > width {
				lines = append(lines, cur)
				cur = ""
			}
			cur = joinNonEmpty(" ", cur, w)
		}
		lines = append(lines, cur)
	}
	return lines
}

// row is one key in the reference table.
type row struct{ key, kind, unit, allowed, def, doc, note string }

var rowTitles = [...]string{"key", "kind", "allowed", "default", "meaning"}

func (r row) cells() [len(rowTitles)]string {
	allowed := r.allowed
	if allowed == "" {
		allowed = r.unit
	}
	doc := r.doc
	if r.note != "" {
		doc = joinNonEmpty(" ", doc, "("+r.note+")")
	}
	return [...]string{r.key, r.kind, escapeBars(allowed), r.def, escapeBars(doc)}
}

func escapeBars(s string) string { return strings.ReplaceAll(s, "|", "\\|") }

// printReference writes the block as a Markdown section with lined-up columns.
func (b *Block) printReference(out *strings.Builder) {
	if b.header != "" {
		form := "[%s]"
		if b.list {
			form = "[[%s]]"
		}
		fmt.Fprintf(out, "## "+form+"\n\n", b.header)
		if b.doc != "" {
			fmt.Fprintf(out, "%s\n\n", b.doc)
		}
	}
	if len(b.rows) > 0 {
		printRows(out, b.rows)
		out.WriteByte('\n')
	}
	for _, s := range b.subs {
		s.printReference(out)
	}
}

func printRows(out *strings.Builder, rows []row) {
	all := [][len(rowTitles)]string{rowTitles}
	for _, r := range rows {
		all = append(all, r.cells())
	}
	var wide [len(rowTitles)]int
	for _, r := range all {
		for i, c := range r[:len(r)-1] {
			wide[i] = max(wide[i], utf8.RuneCountInString(c))
		}
	}
	for i, r := range all {
		for j, c := range r {
			fmt.Fprintf(out, "| %-*s ", wide[j], c)
		}
		out.WriteString("|\n")
		if i == 0 {
			for j := range r {
				out.WriteString("|" + strings.Repeat("-", max(wide[j], 3)+2))
			}
			out.WriteString("|\n")
		}
	}
}
