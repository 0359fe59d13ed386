package record

import (
	"fmt"
	"strconv"

	"github.com/holdline/holdline/harness"
)

// findingLog keeps the first findings of each severity and counts the rest, so
// that a bad file costs bounded memory and no error is crowded out by warnings.
type findingLog struct {
	file   string
	most   int
	kept   harness.Findings
	counts [2]int
	lines  [2]int // line of the last one left out
}

func (l *findingLog) add(f harness.Finding) {
	f.File = l.file
	f.Value = clip(f.Value)
	f.Field = clip(f.Field)
	l.counts[f.Severity]++
	if l.counts[f.Severity] > l.most {
		l.lines[f.Severity] = f.Line
		return
	}
	l.kept = append(l.kept, f)
}

// err adds an error about the options or the whole file.
func (l *findingLog) err(field, value, allowed, reason, fix string) {
	l.add(harness.Finding{Severity: harness.Error, Field: field, Value: value, Allowed: allowed, Reason: reason, Fix: fix})
}

func (l *findingLog) failed() bool { return l.counts[harness.Error] > 0 }

// all returns what was kept, in order, with one finding a severity that counts
// what was left out.
func (l *findingLog) all() harness.Findings {
	out := l.kept.Sorted()
	for s, n := range l.counts {
		if n > l.most {
			out = append(out, harness.Finding{Severity: harness.Severity(s), Level: harness.Severity(s).String(), File: l.file, Line: l.lines[s],
				Reason: fmt.Sprintf("%d more findings of this kind were left out, the last in this line", n-l.most)})
		}
	}
	if len(out) == 0 {
		return nil
	}
	return out
}

// clip shortens what was found in a file to what fits a message.
func clip(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	return toText([]byte(s[:most])) + "..."
}

func formatFloat(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
