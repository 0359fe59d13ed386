package harness_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/holdline/holdline/harness"
)

func TestWrap(t *testing.T) {
	wrapped := func(label, text string) string {
		var b strings.Builder
		harness.Wrap(&b, label, text)
		return b.String()
	}
	assert.Equal(t, "note: short\n", wrapped("note: ", "short"))
	assert.Equal(t, "no label\n", wrapped("", "no  label"))
	long := wrapped("note: ", strings.Repeat("seven00 ", 20))
	for i, line := range strings.Split(strings.TrimSpace(long), "\n") {
		assert.LessOrEqual(t, len(line), harness.ScreenWidth)
		if i > 0 {
			assert.True(t, strings.HasPrefix(line, "      seven00"), line)
		}
	}
	word := strings.Repeat("x", 100)
	assert.Equal(t, "note:\n      "+word+"\n", wrapped("note: ", word), "a word is never broken")
}
