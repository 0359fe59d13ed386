package require_test

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	stl "github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/require/proving"
)

func launchResults(t *testing.T) ([]stl.Requirement, []harness.RequirementResult) {
	t.Helper()
	cal := proving.Car()
	reqs, err := stl.Standard(cal)
	require.NoError(t, err)
	res, err := stl.Judge(drive(t, cal, &harness.Reference{}, "launch"), cal, reqs)
	require.NoError(t, err)
	return reqs, res
}

func drive(t testing.TB, cal *controller.Calibration, unit harness.Unit, script string) *harness.Trace {
	t.Helper()
	for _, s := range proving.Scripts(proving.Varied(0)) {
		if s.Name == script {
			tr := harness.NewTrace(cal)
			_, err := harness.Run(t.Context(), proving.NewDrive(cal, s, 1), unit, harness.Session{Calibration: cal, Seed: 1}, tr)
			require.NoError(t, err)
			return tr
		}
	}
	require.Failf(t, "no such script", "%s", script)
	return nil
}

// Every result survives JSON: no infinity gets into it.
func TestResultsAreJSON(t *testing.T) {
	_, res := launchResults(t)
	text, err := json.Marshal(res)
	require.NoError(t, err)
	var back []harness.RequirementResult
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, res, back)
	assert.Equal(t, harness.VerdictHolds, stl.Overall(res))
	least, ok := stl.Closest(res)
	require.True(t, ok)
	for _, r := range res {
		assert.False(t, math.IsInf(r.Margin, 0) || math.IsNaN(r.Margin), r.ID)
		if !r.Vacuous && !r.Unsized && r.Margin != 0 { // counts that must be 0 are
			assert.LessOrEqual(t, least.Scaled, r.Scaled, r.ID)
		}
	}
}

func TestOverall(t *testing.T) {
	r := func(v string) harness.RequirementResult { return harness.RequirementResult{Verdict: v} }
	holds, fails, open := r(harness.VerdictHolds), r(harness.VerdictFails), r(harness.VerdictInconclusive)
	assert.Equal(t, harness.VerdictNone, stl.Overall(nil))
	assert.Equal(t, harness.VerdictHolds, stl.Overall([]harness.RequirementResult{holds, holds}))
	assert.Equal(t, harness.VerdictInconclusive, stl.Overall([]harness.RequirementResult{holds, open, holds}))
	assert.Equal(t, harness.VerdictFails, stl.Overall([]harness.RequirementResult{open, fails, holds}))
	_, ok := stl.Closest([]harness.RequirementResult{open})
	assert.False(t, ok)
}

// A trace that stopped early cannot hold what was still to come, nor can it pass
// for a failure.
func TestStoppedRunIsInconclusive(t *testing.T) {
	cal := proving.Car()
	reqs, err := stl.Include(cal, "standard/limiters")
	require.NoError(t, err)
	c, err := stl.NewCourt(cal, reqs)
	require.NoError(t, err)
	res, err := c.Judge(drive(t, cal, &harness.Reference{}, "launch"), false)
	require.NoError(t, err)
	for _, r := range res {
		assert.Equal(t, harness.VerdictInconclusive, r.Verdict, r.ID)
	}
}

// The writer's text read back by the standard library's parser into a shape of
// the test's own.
func TestJUnitReadsBack(t *testing.T) {
	_, res := launchResults(t)
	res[0].Verdict, res[0].Margin, res[0].Unit, res[0].Unsized, res[0].ClosestAt = harness.VerdictFails, -12.5, "rpm", false, 3.25
	res[1].Verdict = harness.VerdictInconclusive
	res[2].Vacuous = true
	const repeat = `holdline run "a & b.toml" --seed 42 <x>`
	var b bytes.Buffer
	require.NoError(t, stl.WriteJUnit(&b, []stl.Suite{
		{Name: "launch <1>", Seed: 42, Repeat: repeat, Seconds: 9.3, Results: res}, {Name: "second", Results: res[3:5]},
	}))
	var doc struct {
		Tests    int `xml:"tests,attr"`
		Failures int `xml:"failures,attr"`
		Errors   int `xml:"errors,attr"`
		Suites   []struct {
			Name  string `xml:"name,attr"`
			Tests int    `xml:"tests,attr"`
			Time  string `xml:"time,attr"`
			Props []struct {
				Name  string `xml:"name,attr"`
				Value string `xml:"value,attr"`
			} `xml:"properties>property"`
			Cases []struct {
				Name  string `xml:"name,attr"`
				Class string `xml:"classname,attr"`
				Props []struct {
					Name  string `xml:"name,attr"`
					Value string `xml:"value,attr"`
				} `xml:"properties>property"`
				Failure *struct {
					Message string `xml:"message,attr"`
					Text    string `xml:",chardata"`
				} `xml:"failure"`
				Error *struct{} `xml:"error"`
				Out   string    `xml:"system-out"`
			} `xml:"testcase"`
		} `xml:"testsuite"`
	}
	require.NoError(t, xml.Unmarshal(b.Bytes(), &doc))
	assert.Equal(t, []int{len(res) + 2, 1, 1}, []int{doc.Tests, doc.Failures, doc.Errors})
	s := doc.Suites[0]
	assert.Equal(t, "launch <1>", s.Name)
	assert.Equal(t, "9.300", s.Time)
	assert.Equal(t, "42", s.Props[0].Value)
	assert.Equal(t, repeat, s.Props[1].Value)
	require.NotNil(t, s.Cases[0].Failure)
	assert.Equal(t, res[0].ID, s.Cases[0].Name)
	for _, want := range []string{"-12.5 rpm", "3.250 s", repeat, "seed 42", res[0].Reason} {
		assert.Contains(t, s.Cases[0].Failure.Text, want)
	}
	props := map[string]string{}
	for _, p := range s.Cases[0].Props {
		props[p.Name] = p.Value
	}
	assert.Equal(t, map[string]string{"verdict": "fails", "closest_at_s": "3.250", "margin": "-12.5", "unit": "rpm", "scaled_margin": props["scaled_margin"]}, props)
	assert.NotNil(t, s.Cases[1].Error)
	assert.Contains(t, s.Cases[2].Out, "vacuous")
}

// A person's own file: include, override by id, drop, values, a new requirement.
func TestOwnFile(t *testing.T) {
	cal := proving.Car()
	dir := t.TempDir()
	base := filepath.Join(dir, "base.toml")
	require.NoError(t, os.WriteFile(base, []byte(`format = "holdline-requirements-1"
include = ["standard/limiters", "standard/cuts"]
drop = ["cuts.run"]

[[value]]
name = "main_overshoot"
is = "50 rpm"

[[requirement]]
id = "limiters.main-stands"
text = "ours is 8,000"
formula = "always ceiling <= 8000 rpm"

[[requirement]]
id = "ours.boost"
text = "boost of 150 kPa at release"
formula = "always (at released implies manifold_pressure >= 150 kPa)"
unit = "kPa"
`), 0o644))
	top := filepath.Join(dir, "top.toml")
	reqs, err := stl.Read(cal, top, []byte("format = \"holdline-requirements-1\"\ninclude = [\"base.toml\"]\n"))
	require.NoError(t, err)
	byID := map[string]stl.Requirement{}
	for _, r := range reqs {
		byID[r.ID] = r
	}
	assert.NotContains(t, byID, "cuts.run")
	assert.Contains(t, byID["limiters.main-passed"].Formula, "+ 50 rpm")
	assert.Equal(t, "always ceiling <= 8000 rpm", byID["limiters.main-stands"].Formula)
	assert.Equal(t, "rpm", byID["limiters.main-stands"].Unit, "keys not given stay")
	res, err := stl.Judge(drive(t, cal, &harness.Reference{}, "launch"), cal, reqs)
	require.NoError(t, err)
	verdicts := map[string]string{}
	for _, r := range res {
		verdicts[r.ID] = r.Verdict
	}
	assert.Equal(t, "fails", verdicts["limiters.main-stands"])
	assert.Equal(t, "holds", verdicts["ours.boost"])
}

func TestOwnFileFindings(t *testing.T) {
	cal := proving.Car()
	head := "format = \"holdline-requirements-1\"\n"
	for name, tt := range map[string]struct{ text, want string }{
		"no such set":     {head + `include = ["standard/limits"]`, "no such standard set"},
		"no such file":    {head + `include = ["nowhere.toml"]`, "cannot be read"},
		"no such id":      {head + `drop = ["x"]`, "no included requirement has this id"},
		"formula missing": {head + "[[requirement]]\nid = \"a\"\ntext = \"b\"\n", "formula or text is missing"},
		"no such value":   {head + "[[requirement]]\nid = \"a\"\ntext = \"b\"\nformula = \"always ceiling <= {nothing}\"\n", "no such value"},
		"unknown key":     {head + "[[requirement]]\nid = \"a\"\nformla = \"b\"\n", "unknown key"},
		"not a number":    {head + "[[requirement]]\nid = \"a\"\ntext = \"b\"\nformula = \"true\"\nscale = \"x\"\n", "not a number"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := stl.Read(cal, filepath.Join(t.TempDir(), "own.toml"), []byte(tt.text))
			require.Error(t, err)
			assert.Contains(t, err.Error(), tt.want)
		})
	}
}

// A text may not use a value that no calibration has, and every word listed can
// be had from some calibration of the shipped kind or is known to be optional.
func TestStandardTextsAreComplete(t *testing.T) {
	cal := proving.Car()
	reqs, err := stl.Standard(cal)
	require.NoError(t, err)
	for _, r := range reqs {
		for _, s := range []string{r.ID, r.Text, r.Formula, r.Reason, r.Source} {
			assert.NotEmpty(t, s, r.ID)
			assert.False(t, strings.ContainsAny(s, "{}"), "%s: %s", r.ID, s)
		}
	}
	assert.Equal(t, []string{"standard/after", "standard/cuts", "standard/inputs", "standard/launch", "standard/limiters", "standard/power"}, stl.StandardSets())
	require.NoError(t, stl.FileKind.Verify())
}
