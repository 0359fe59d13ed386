package require

import (
	"encoding/xml"
	"fmt"
	"io"
	"strconv"

	"github.com/holdline/holdline/harness"
)

// Suite is one run for JUnit XML: what was run, and how to run it again.
type Suite struct {
	Name    string // scenario, recording or calibration
	Seed    uint64
	Repeat  string  // the command that repeats the run
	Seconds float64 // of simulated time
	Results []harness.RequirementResult
}

type junitDocument struct {
	XMLName  xml.Name     `xml:"testsuites"`
	Tests    int          `xml:"tests,attr"`
	Failures int          `xml:"failures,attr"`
	Errors   int          `xml:"errors,attr"`
	Suites   []junitSuite `xml:"testsuite"`
}

type junitSuite struct {
	Name       string          `xml:"name,attr"`
	Tests      int             `xml:"tests,attr"`
	Failures   int             `xml:"failures,attr"`
	Errors     int             `xml:"errors,attr"`
	Time       string          `xml:"time,attr"`
	Properties []junitProperty `xml:"properties>property"`
	Cases      []junitCase     `xml:"testcase"`
}

type junitCase struct {
	Name       string          `xml:"name,attr"`
	Class      string          `xml:"classname,attr"`
	Time       string          `xml:"time,attr"`
	Properties []junitProperty `xml:"properties>property"`
	Failure    *junitProblem   `xml:"failure,omitempty"`
	Error      *junitProblem   `xml:"error,omitempty"`
	Out        string          `xml:"system-out,omitempty"`
}

type junitProperty struct {
	Name  string `xml:"name,attr"`
	Value string `xml:"value,attr"`
}

type junitProblem struct {
	Message string `xml:"message,attr"`
	Type    string `xml:"type,attr"`
	Text    string `xml:",chardata"`
}

// WriteJUnit writes runs as JUnit XML: one suite a run, one case a requirement. A
// failed requirement is a failure, an inconclusive one an error. Margin, unit,
// the time of the closest moment, the seed and the command that repeats the run
// are properties, and stand in the text of a problem too.
func WriteJUnit(w io.Writer, suites []Suite) error {
	var doc junitDocument
	for _, s := range suites {
		x := s.junit()
		doc.Tests += x.Tests
		doc.Failures += x.Failures
		doc.Errors += x.Errors
		doc.Suites = append(doc.Suites, x)
	}
	text, err := xml.MarshalIndent(doc, "", "  ")
	if err != nil {
		return fmt.Errorf("junit: %w", err)
	}
	if _, err := io.WriteString(w, xml.Header+string(text)+"\n"); err != nil {
		return fmt.Errorf("junit: %w", err)
	}
	return nil
}

func (s *Suite) junit() junitSuite {
	out := junitSuite{Name: s.Name, Time: seconds(s.Seconds), Properties: []junitProperty{
		{"seed", strconv.FormatUint(s.Seed, 10)}, {"repeat", s.Repeat},
	}}
	for i := range s.Results {
		c := s.junitCase(&s.Results[i])
		out.Tests++
		out.Failures += int(b32(c.Failure != nil))
		out.Errors += int(b32(c.Error != nil))
		out.Cases = append(out.Cases, c)
	}
	return out
}

func (s *Suite) junitCase(r *harness.RequirementResult) junitCase {
	c := junitCase{Name: r.ID, Class: s.Name, Time: "0", Properties: []junitProperty{
		{"verdict", r.Verdict}, {"closest_at_s", seconds(r.ClosestAt)},
	}}
	margin := "without size"
	if !r.Unsized {
		margin = strconv.FormatFloat(r.Margin, 'g', 6, 64) + " " + r.Unit
		c.Properties = append(c.Properties,
			junitProperty{"margin", strconv.FormatFloat(r.Margin, 'g', -1, 64)}, junitProperty{"unit", r.Unit},
			junitProperty{"scaled_margin", strconv.FormatFloat(r.Scaled, 'g', -1, 64)})
	}
	p := &junitProblem{
		Message: fmt.Sprintf("%s: margin %s at %s s", r.Text, margin, seconds(r.ClosestAt)), Type: r.Verdict,
		Text: fmt.Sprintf("%s\nmargin %s at %s s: %s\nwhy: %s\nseed %d\nrepeat with: %s", r.Text, margin, seconds(r.ClosestAt), r.Condition, r.Reason, s.Seed, s.Repeat),
	}
	switch {
	case r.Verdict == harness.VerdictFails:
		c.Failure = p
	case r.Verdict != harness.VerdictHolds:
		c.Error = p
	case r.Vacuous:
		c.Out = "vacuous: what it asks about never happened in this run"
	}
	return c
}

func seconds(s float64) string { return strconv.FormatFloat(s, 'f', 3, 64) }
