package link

import (
	"fmt"
	"regexp"
	"strconv"
	"time"

	"github.com/holdline/holdline/harness"
	reqs "github.com/holdline/holdline/harness/require"
)

// within finds the times that a formula bounds something by.
var within = regexp.MustCompile(`\bwithin ([0-9]+(?:\.[0-9]+)?) ?(us|ms|s)\b`)

// TooTight lists the requirements that bound something by a time shorter than a
// link can tell apart: they cannot be judged over it. A bound of less than a
// tick is one of them in any mode.
func TooTight(list []reqs.Requirement, resolution time.Duration) (findings harness.Findings) {
	for _, r := range list {
		for _, m := range within.FindAllStringSubmatch(r.Formula, -1) {
			t, ok := timeOf(m[1], m[2])
			if !ok || t >= resolution {
				continue
			}
			findings = append(findings, harness.Finding{
				Severity: harness.Error, Field: r.ID, Value: m[1] + " " + m[2], Allowed: resolution.String() + " or longer",
				Reason: "tighter than what this link can tell apart", Fix: "run it in lockstep or on a faster link, or leave it out",
			})
			break
		}
	}
	return findings
}

// Tightest is the shortest such time; 0 if there is none.
func Tightest(list []reqs.Requirement) (shortest time.Duration) {
	for _, r := range list {
		for _, m := range within.FindAllStringSubmatch(r.Formula, -1) {
			if t, ok := timeOf(m[1], m[2]); ok && (shortest == 0 || t < shortest) {
				shortest = t
			}
		}
	}
	return shortest
}

func timeOf(number, unit string) (time.Duration, bool) {
	x, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, false
	}
	d, err := time.ParseDuration(fmt.Sprintf("%g%s", x, unit))
	return d, err == nil && d > 0
}
