package harness

import (
	"fmt"
	"sort"
	"strings"
)

// Severity says what a Finding means for the work at hand.
type Severity uint8

const (
	// Warning lets the work go on; the person should know.
	Warning Severity = iota
	// Error refuses the input.
	Error
)

// String returns "warning" or "error".
func (s Severity) String() string {
	if s == Error {
		return "error"
	}
	return "warning"
}

// Finding is one thing wrong with something that a person wrote: where it
// stands, what was found, what would be allowed, and what to do. Parsers and
// validators return all findings of an input at once.
type Finding struct {
	Severity Severity `json:"-"`
	File     string   `json:"file,omitempty"`
	Line     int      `json:"line,omitempty"`    // from 1; 0 if the whole file is meant
	Column   int      `json:"column,omitempty"`  // from 1, in bytes; 0 if the whole line is meant
	Field    string   `json:"field,omitempty"`   // dotted path or column title, e.g. "stage.launch.ceiling"
	Value    string   `json:"value,omitempty"`   // as written
	Changed  bool     `json:"changed,omitempty"` // the value is not the file's: it was put in its place
	Allowed  string   `json:"allowed,omitempty"`
	Reason   string   `json:"reason"`          // what is wrong, lower case, no full stop
	Fix      string   `json:"fix,omitempty"`   // what to do, if the reason does not already say it
	Level    string   `json:"level,omitempty"` // Severity in words; filled by Findings.Sorted
}

// String gives "FILE:LINE:COLUMN: error: FIELD: reason, as changed (got VALUE; allowed
// RANGE); fix", leaving out what is unknown.
func (f Finding) String() string {
	var b strings.Builder
	b.WriteString(f.place())
	b.WriteString(f.Severity.String() + ": ")
	if f.Field != "" {
		b.WriteString(f.Field + ": ")
	}
	b.WriteString(f.Reason)
	if f.Changed {
		b.WriteString(", as changed")
	}
	switch {
	case f.Value != "" && f.Allowed != "":
		fmt.Fprintf(&b, " (got %s; allowed %s)", f.Value, f.Allowed)
	case f.Value != "":
		fmt.Fprintf(&b, " (got %s)", f.Value)
	case f.Allowed != "":
		fmt.Fprintf(&b, " (allowed %s)", f.Allowed)
	}
	if f.Fix != "" {
		b.WriteString("; " + f.Fix)
	}
	return b.String()
}

// place gives "FILE:LINE:COLUMN: ", or "line 3, column 7: " where there is no
// file, as on a command line.
func (f Finding) place() string {
	switch {
	case f.File != "" && f.Line > 0 && f.Column > 0:
		return fmt.Sprintf("%s:%d:%d: ", f.File, f.Line, f.Column)
	case f.File != "" && f.Line > 0:
		return fmt.Sprintf("%s:%d: ", f.File, f.Line)
	case f.File != "":
		return f.File + ": "
	case f.Line > 0 && f.Column > 0:
		return fmt.Sprintf("line %d, column %d: ", f.Line, f.Column)
	case f.Line > 0:
		return fmt.Sprintf("line %d: ", f.Line)
	}
	return ""
}

// Findings collects what is wrong with one or several inputs. As an error it
// prints one finding a line.
type Findings []Finding

// Error implements error.
func (fs Findings) Error() string {
	lines := make([]string, len(fs))
	for i, f := range fs {
		lines[i] = f.String()
	}
	return strings.Join(lines, "\n")
}

// Failed reports whether any finding is an Error.
func (fs Findings) Failed() bool {
	for _, f := range fs {
		if f.Severity == Error {
			return true
		}
	}
	return false
}

// Err returns fs as an error if it holds at least one Error, else nil.
func (fs Findings) Err() error {
	if fs.Failed() {
		return fs
	}
	return nil
}

// Sorted returns a copy in the order of file, line and column, with Level
// filled in for machine-readable output.
func (fs Findings) Sorted() Findings {
	out := append(Findings(nil), fs...)
	for i := range out {
		out[i].Level = out[i].Severity.String()
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		if a.File != b.File {
			return a.File < b.File
		}
		if a.Line != b.Line {
			return a.Line < b.Line
		}
		return a.Column < b.Column
	})
	return out
}
