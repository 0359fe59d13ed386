package harness

import (
	"fmt"
	"io"
	"strings"
)

// ScreenWidth is how many columns a text for a terminal may take.
const ScreenWidth = 80

// Count is a number of things, one of which a noun names: "1 launch", "3 launches".
func Count[N int | int64](n N, noun string) string {
	switch {
	case n == 1:
	case strings.HasSuffix(noun, "ch"):
		noun += "es"
	default:
		noun += "s"
	}
	return fmt.Sprintf("%d %s", n, noun)
}

// Wrap prints a text under a label, broken at words so that it fits a screen. What
// follows the first line stands below the text, not below the label.
func Wrap(w io.Writer, label, text string) {
	line := label
	for _, word := range strings.Fields(text) {
		if len([]rune(line))+1+len([]rune(word)) > ScreenWidth && strings.TrimSpace(line) != "" {
			fmt.Fprintln(w, strings.TrimRight(line, " "))
			line = strings.Repeat(" ", len([]rune(label)))
		}
		if line != "" && !strings.HasSuffix(line, " ") {
			line += " "
		}
		line += word
	}
	fmt.Fprintln(w, line)
}
