package files

import (
	"strings"

	"github.com/holdline/holdline/harness"
)

// PointAt returns the line of text that a finding is about with a caret under
// its column, for inputs that have no file, such as phrases given on a command
// line. It is empty if the finding has no place in the text.
func PointAt(text string, f harness.Finding) string {
	lines := strings.Split(text, "\n")
	if f.Line < 1 || f.Line > len(lines) || f.Column < 1 || f.Column > len(lines[f.Line-1])+1 {
		return ""
	}
	line := strings.TrimRight(lines[f.Line-1], "\r")
	var pad strings.Builder
	for _, c := range line[:min(f.Column-1, len(line))] {
		if c == '\t' {
			pad.WriteByte('\t')
		} else {
			pad.WriteByte(' ')
		}
	}
	return line + "\n" + pad.String() + "^"
}
