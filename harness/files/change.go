package files

import (
	"fmt"
	"slices"
	"strings"

	"github.com/holdline/holdline/harness"
)

// Change is one value to put in place of a file's own before the file is read,
// so that it meets the same checks as what a person wrote.
type Change struct {
	Path  string // dotted, as findings spell it: "stage.launch.ceiling_rpm", "shot[1].retard_deg"
	Value string // as the file would say it: 4200, true, [1, 2]; a word needs no quotes
}

// String gives "PATH=VALUE".
func (c Change) String() string { return c.Path + "=" + c.Value }

// ParseChange reads "PATH=VALUE".
func ParseChange(text string) (Change, error) {
	path, value, ok := strings.Cut(text, "=")
	c := Change{strings.TrimSpace(path), strings.TrimSpace(value)}
	if !ok || c.Path == "" || c.Value == "" {
		return c, fmt.Errorf("%q does not say what to change: write PATH=VALUE, such as surface.grip=1.4", text)
	}
	return c, nil
}

// Under gives the changes whose path starts with a word and a dot, without
// them, and the rest.
func Under(word string, changes []Change) (under, rest []Change) {
	for _, c := range changes {
		if path, ok := strings.CutPrefix(c.Path, word+"."); ok {
			under = append(under, Change{path, c.Value})
		} else {
			rest = append(rest, c)
		}
	}
	return under, rest
}

// Change puts values in place of the document's own. A key that is left out in
// the text may be named, and so may a whole table of the root; reading the
// document then says whether they exist. Whatever else has no place in the text
// is a finding.
func (d *Document) Change(changes ...Change) (findings harness.Findings) {
	for _, c := range changes {
		if f := d.change(c); f != nil {
			f.Severity, f.File, f.Field, f.Value = harness.Error, d.File, c.Path, c.Value
			findings = append(findings, *f)
		}
	}
	return findings
}

// finding puts a finding at its place, and says whether the value there is the text's.
func (d *Document) finding(pos Pos, f harness.Finding) harness.Finding {
	f.File, f.Line, f.Column = d.File, pos.Line, pos.Column
	f.Changed = slices.ContainsFunc(d.changed, func(path string) bool {
		return f.Field == path || strings.HasPrefix(f.Field, path+"[")
	})
	return f
}

func (d *Document) change(c Change) *harness.Finding {
	steps := splitPath(c.Path)
	value := valueOf(c.Value)
	if len(steps) == 0 || value == nil {
		return &harness.Finding{Reason: "cannot be changed to this", Allowed: "one value, as the file would say it"}
	}
	parent, last := d.Root, steps[len(steps)-1]
	for i, s := range steps[:len(steps)-1] {
		next := parent.step(s)
		if next == nil && i == 0 && !strings.HasPrefix(s, "[") && len(steps) == 2 {
			next = &Node{Kind: TableNode, Key: s, KeyPos: d.Root.KeyPos, Pos: d.Root.Pos, origin: headed}
			d.Root.add(next)
			d.changed = append(d.changed, s)
		}
		if next == nil {
			return &harness.Finding{Reason: "the file has no " + strings.Join(steps[:i+1], "."), Allowed: namesIn(parent), Fix: "name something that stands in the file"}
		}
		parent = next
	}
	if !parent.put(last, value) {
		return &harness.Finding{Reason: "the file has no such place", Fix: "items count from 1"}
	}
	d.changed = append(d.changed, c.Path)
	return nil
}

// valueOf reads one TOML value, or a bare word as text.
func valueOf(text string) *Node {
	if strings.ContainsAny(text, "\r\n") {
		return nil
	}
	for _, t := range []string{text, quote(text)} {
		doc, findings := Parse("", []byte("value = "+t))
		if n := doc.Root.Get("value"); n != nil && n.Kind != BadNode && len(findings) == 0 && len(doc.Root.Keys) == 1 {
			return n
		}
	}
	return nil
}

// put sets an entry of a table or an item of a list, at the place of the one
// before it.
func (n *Node) put(step string, v *Node) bool {
	old := n.step(step)
	if old == nil && (n.Kind != TableNode || strings.HasPrefix(step, "[")) {
		return false
	}
	if old == nil {
		v.Key, v.KeyPos, v.Pos = step, n.KeyPos, n.KeyPos
		n.add(v)
		return true
	}
	v.Key, v.KeyPos, v.Pos = old.Key, old.KeyPos, old.Pos
	*old = *v
	return true
}

// namesIn lists what a table holds.
func namesIn(n *Node) string {
	var names []string
	for _, k := range n.Keys {
		names = append(names, k.Key)
	}
	return shorten(strings.Join(names, ", "))
}
