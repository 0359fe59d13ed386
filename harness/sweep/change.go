package sweep

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness/files"
)

// reach into the other files of a scenario.
const (
	intoCar         = "car"
	intoCalibration = "calibration"
)

// ownPath is a path as the scenario takes it: "scenario." may stand before it.
func ownPath(path string) string { return strings.TrimPrefix(path, "scenario.") }

// changes gives what a launch puts in place of the files' own values, and what
// was drawn for each scatter. The value to scatter around is the one that the
// plan or the file says.
func (l *launcher) changes(s settings) (all []files.Change, drawn []string, err error) {
	p := l.plan
	now := map[string]string{}
	for i := range p.Parameters {
		q := &p.Parameters[i]
		c := files.Change{Path: ownPath(q.Path), Value: q.written(s.point.values[i])}
		now[c.Path] = c.Value
		all = append(all, c)
	}
	drawn = make([]string, len(p.Scatter))
	if s.z == nil {
		return all, drawn, nil
	}
	for i := range p.Scatter {
		q := &p.Scatter[i]
		path := ownPath(q.Path)
		written, ok := now[path]
		if !ok {
			written, ok = l.written(s.point.scenario, path, all)
		}
		if ok {
			drawn[i], ok = q.scattered(written, s.z[i])
		}
		if !ok {
			return all, drawn, &noNumberError{i}
		}
		all = append(all, files.Change{Path: path, Value: drawn[i]})
	}
	return all, drawn, nil
}

// noNumberError says that there is nothing to scatter around.
type noNumberError struct{ scatter int }

func (e *noNumberError) Error() string {
	return "has no number here to scatter around; write one in the file, or give it as a parameter"
}

// written is a parameter's value as the file is to say it.
func (p *Parameter) written(value string) string {
	if p.As == "" {
		return value
	}
	return strings.ReplaceAll(p.As, "{}", value)
}

// written reads a value off a scenario, or off a file that it names.
func (l *launcher) written(scenario int, path string, changes []files.Change) (string, bool) {
	b := l.plan.bases[scenario]
	for _, into := range []string{intoCar, intoCalibration} {
		rest, ours := strings.CutPrefix(path, into+".")
		if !ours {
			continue
		}
		name, _ := valueAt(l.doc(b.path, b.text), into)
		for _, c := range changes {
			if c.Path == into {
				name = c.Value
			}
		}
		file := files.Beside(b.path, name)
		return valueAt(l.doc(file, l.plan.texts[file]), rest)
	}
	return valueAt(l.doc(b.path, b.text), path)
}

// doc parses a file once.
func (l *launcher) doc(path string, text []byte) *files.Document {
	d, ok := l.docs[path]
	if !ok {
		d, _ = files.Parse(path, text)
		l.docs[path] = d
	}
	return d
}

// valueAt reads a plain value by its path, a text without quotes.
func valueAt(doc *files.Document, path string) (string, bool) {
	n := doc.Root
	for _, part := range strings.Split(path, ".") {
		name, items, _ := strings.Cut(part, "[")
		n = n.Get(name)
		for _, item := range strings.Split(items, "[") {
			if items == "" || n == nil {
				break
			}
			i, err := strconv.Atoi(strings.TrimSuffix(item, "]"))
			if err != nil || i < 1 || i > len(n.Items) {
				return "", false
			}
			n = n.Items[i-1]
		}
	}
	switch {
	case n == nil || n.Kind == files.TableNode || n.Kind == files.ListNode || n.Kind == files.BadNode:
		return "", false
	case n.Kind == files.StringNode:
		return n.Text, true
	}
	return n.Raw, true
}

// writeContent writes down what a document says, without comments and layout and
// without the root's keys that name other files.
func writeContent(w io.Writer, n *files.Node, root bool) {
	fmt.Fprintf(w, "%d %q %q\n", n.Kind, n.Key, n.Raw)
	for _, k := range n.Keys {
		if root && (k.Key == intoCar || k.Key == intoCalibration || k.Key == "requirements") {
			continue
		}
		writeContent(w, k, false)
	}
	for _, k := range n.Items {
		writeContent(w, k, false)
	}
	fmt.Fprintln(w, "end")
}
