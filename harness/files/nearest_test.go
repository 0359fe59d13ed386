package files

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Distances counted by hand.
func TestEditDistance(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"abc", "abc", 0}, {"abc", "acb", 1}, {"kitten", "sitting", 3}, {"flaw", "lawn", 2}, {"ceiling", "cieling", 1}} {
		assert.Equal(t, c.want, editDistance(c.a, c.b, 10), "%s %s", c.a, c.b)
		assert.Equal(t, c.want, editDistance(c.b, c.a, 10), "%s %s", c.b, c.a)
	}
}

func TestNearestOnlyIfNear(t *testing.T) {
	keys := []string{"ceiling_rpm", "style", "medium", "on"}
	assert.Equal(t, "ceiling_rpm", nearest("cieling_rpm", keys))
	assert.Equal(t, "ceiling_rpm", nearest("Ceiling_RPM", keys))
	assert.Equal(t, "style", nearest("styl", keys))
	assert.Empty(t, nearest("pattern", keys))
	assert.Empty(t, nearest("x", keys[:3]))
	assert.Empty(t, nearest("", keys[:3]))
}
