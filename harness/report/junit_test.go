package report_test

import (
	"bytes"
	"encoding/xml"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	stl "github.com/holdline/holdline/harness/require"
)

// junit is a broken run, one that held and one with hostile names, as JUnit XML.
func junit(t *testing.T) []byte {
	t.Helper()
	suite := func(r *harness.Results) stl.Suite {
		return stl.Suite{Name: r.Source, Seed: r.Seed, Repeat: r.Repeat, Seconds: r.Seconds, Results: r.Requirements}
	}
	i := 0
	broken := brokenRun(t, "wrong sign")
	bad := named(broken, func() string { i++; return nasty[i%len(nasty)] })
	var out bytes.Buffer
	require.NoError(t, stl.WriteJUnit(&out, []stl.Suite{suite(broken.Results), suite(bad.Results), {Name: "nothing required"}}))
	return out.Bytes()
}

// Read back, it says what went in: a failure for each requirement that fails, the
// command that repeats the run, counts that agree.
func TestJUnitReadsBack(t *testing.T) {
	var doc struct {
		Tests    int `xml:"tests,attr"`
		Failures int `xml:"failures,attr"`
		Suites   []struct {
			Tests    int `xml:"tests,attr"`
			Failures int `xml:"failures,attr"`
			Property []struct {
				Name  string `xml:"name,attr"`
				Value string `xml:"value,attr"`
			} `xml:"properties>property"`
			Cases []struct {
				Name    string `xml:"name,attr"`
				Failure *struct {
					Text string `xml:",chardata"`
				} `xml:"failure"`
			} `xml:"testcase"`
		} `xml:"testsuite"`
	}
	require.NoError(t, xml.Unmarshal(junit(t), &doc))
	r := brokenRun(t, "wrong sign").Results
	require.Len(t, doc.Suites, 3)
	all, failed := 0, 0
	for _, s := range doc.Suites {
		fails := 0
		for _, c := range s.Cases {
			if c.Failure != nil {
				fails++
			}
		}
		assert.Equal(t, len(s.Cases), s.Tests)
		assert.Equal(t, fails, s.Failures)
		all, failed = all+s.Tests, failed+s.Failures
	}
	assert.Equal(t, []int{all, failed}, []int{doc.Tests, doc.Failures})
	first := doc.Suites[0]
	require.Len(t, first.Cases, len(r.Requirements))
	for i, q := range r.Requirements {
		assert.Equal(t, q.ID, first.Cases[i].Name)
		assert.Equal(t, q.Verdict == harness.VerdictFails, first.Cases[i].Failure != nil, q.ID)
		if f := first.Cases[i].Failure; f != nil {
			assert.Contains(t, f.Text, "repeat with: "+r.Repeat)
		}
	}
	values := map[string]string{}
	for _, p := range first.Property {
		values[p.Name] = p.Value
	}
	assert.Equal(t, map[string]string{"seed": "1", "repeat": r.Repeat}, values)
}

// xmllint (libxml2) holds it against a schema: ours, and the one that
// HOLDLINE_JUNIT_XSD names, if any.
func TestJUnitFitsItsSchema(t *testing.T) {
	lint, err := exec.LookPath("xmllint")
	if err != nil {
		needed(t, "xmllint of libxml2")
	}
	path := filepath.Join(t.TempDir(), "junit.xml")
	check := func(schema string, text []byte) error {
		require.NoError(t, os.WriteFile(path, text, 0o644))
		out, err := exec.Command(lint, "--noout", "--nonet", "--schema", schema, path).CombinedOutput()
		t.Logf("%s: %s", filepath.Base(schema), bytes.TrimSpace(out))
		return err
	}
	text := junit(t)
	ours := filepath.Join("testdata", "junit.xsd")
	assert.NoError(t, check(ours, text))
	assert.Error(t, check(ours, bytes.Replace(text, []byte(` tests="`), []byte(` test="`), 1)), "the schema finds nothing wrong")
	if other := os.Getenv("HOLDLINE_JUNIT_XSD"); other != "" {
		assert.NoError(t, check(other, text))
	}
}
