package require

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/holdline/holdline/harness/require/proving"
)

// The list of words for braces is that of the code: nothing is missing from it,
// and nothing on it is made up.
func TestValueWordsAreTheCodes(t *testing.T) {
	cal := proving.CarValues()
	cal.Shots[1].Margin, cal.Standing.Persistence = 2000, 5000
	cal.Stages[1].Guard.CoolDown = 1
	made := map[string]bool{}
	for word := range runValues(&cal) {
		made[word] = true
	}
	for e := range eachFeedbackShot + 1 {
		for _, thing := range things(&cal, e) {
			for word := range thing {
				made[word] = true
			}
		}
	}
	for word := range made {
		assert.True(t, knownValues[word], "%s is missing from valueWords", word)
	}
	for _, word := range ValueWords() {
		assert.True(t, made[word], "%s is on the list, and the invented car has no such value", word)
	}
}

func TestFillIn(t *testing.T) {
	v := values{"a": "5 rpm", "b": "x"}
	for _, tt := range []struct{ text, want, missing string }{
		{"plain", "plain", ""},
		{"{a} and {b}{a}", "5 rpm and x5 rpm", ""},
		{"{c} {d} {a}", "  5 rpm", "c"},
		{"open {a", "open 5 rpm", "a"},
	} {
		got, missing := fillIn(tt.text, v)
		assert.Equal(t, tt.want, got, tt.text)
		assert.Equal(t, tt.missing, missing, tt.text)
	}
}
