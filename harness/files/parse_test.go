package files

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Each text has exactly the findings listed, in order, as LINE:COLUMN and a
// part of the message. Texts follow the rules of TOML 1.0 (toml.io).
var nastyTexts = []struct {
	name, text string
	want       []string
}{
	{"empty", "", nil},
	{"only comment", "# nothing", nil},
	{"byte-order mark", "\xEF\xBB\xBFa = 1\n", nil},
	{"carriage returns", "a = 1\r\nb = 2\r\n", nil},
	{"lone carriage return", "a = 1\rb = 2\n", []string{"1:6 syntax"}},
	{"no line feed at the end", "a = 1", nil},
	{"UTF-16", "\xFF\xFEa\x00", []string{"1:1 UTF-16"}},
	{"Latin-1 in a comment", "a = 1 # 5 \xB0C\nb = 2\n", []string{"1:11 0xB0"}},
	{"NUL", "a = \x00\nb = 1\n", []string{"1:5 syntax"}},
	{"repeated key", "a = 1\na = 2\n", []string{"2:1 a: key repeated; the first is on line 1"}},
	{"repeated key in quotes", "a = 1\n\"a\" = 2\n", []string{"2:1 a: key repeated"}},
	{"repeated table", "[a]\nb = 1\n[c]\n[a]\nd = 2\n", []string{"4:2 a: table repeated; the first is on line 1"}},
	{"table after its child", "[a.b]\nx = 1\n[a]\ny = 2\n", nil},
	{"table over a key", "a = 1\n[a]\nb = 2\n", []string{"2:2 a: was written before as a number"}},
	{"table below a key", "a = 1\n[a.b]\n", []string{"2:2 a: is not a table"}},
	{"list of tables over a table", "[a]\n[[a]]\n", []string{"2:3 a: was written before as a table"}},
	{"table over a list of tables", "[[a]]\n[a]\n", []string{"2:2 a: was written before as a list"}},
	{"list of tables over a list", "a = [1]\n[[a]]\n", []string{"2:3 a: was written before as a list"}},
	{"child of a list item", "[[a]]\n[a.b]\nx = 1\n[[a]]\n[a.b]\nx = 2\n", nil},
	{"dotted keys", "a.b = 1\na.c = 2\n", nil},
	{"dotted key through a number", "a = 1\na.b = 2\n", []string{"2:1 a: was written before"}},
	{"dotted key into a headed table", "[a.b]\nx = 1\n[a]\nb.y = 2\n", []string{"4:1 a.b: was written before"}},
	{"header over a dotted table", "a.b = 1\n[a]\n", []string{"2:2 a: was written before as a table"}},
	{"inline table is closed", "a = {b = 1}\n[a.c]\n", []string{"2:2 a: is not a table"}},
	{"dotted key into an inline table", "a = {b = 1}\na.c = 2\n", []string{"2:1 a: was written before"}},
	{"header below a dotted key of an inline table", "a = {b.c = 1}\n[a.b.d]\n", []string{"2:2 a: is not a table"}},
	{"dotted keys that share a table inside an inline one", "a = {b.c = 1, b.d = 2}\n", nil},
	{"repeated key in an inline table", "a = {b = 1, b = 2}\n", []string{"1:13 b: key repeated"}},
	{"unit behind a number", "[t]\na = 5000 rpm\n", []string{"2:10 t.a: syntax: *; write the number alone"}},
	{"decimal comma", "a = 12,5\n", []string{"1:7 a: syntax: *; write a decimal point"}},
	{"word without quotes", "a = soft\n", []string{"1:5 a: syntax: *; put the word in quotes: \"soft\""}},
	{"colon", "a: 5\nb = 1\n", []string{"1:2 syntax: *; write key = value"}},
	{"no value", "a =\nb = 1\n", []string{"1:4 a: syntax"}},
	{"no key", "= 5\nb = 1\n", []string{"1:1 syntax"}},
	{"open quote", "a = \"x\nb = 1\n", []string{"1:7 a: syntax"}},
	{"open text of several lines", "a = \"\"\"x\nb = 1\n", []string{"2:6 a: syntax: *; look for a bracket or quote left open from line 1 on"}},
	{"open list", "a = [1, 2\nb = 1\nc = 2\n", []string{"2:1 a: syntax: *; look for a bracket or quote left open from line 1 on"}},
	{"comma missing in rows", "a = [\n [1, 2]\n [3, 4],\n]\nb = 1\n", []string{"3:2 a: syntax"}},
	{"open header keeps its table", "[a\nb = 1\n[c]\nb = 1\n", []string{"1:3 a: syntax"}},
	{"two errors", "a = ?\nb = 1\nc = !\n", []string{"1:5 a: syntax", "3:5 c: syntax"}},
	{"leading zero", "a = 012\n", []string{"1:5 a: syntax"}},
	{"two signs", "a = --1\n", []string{"1:6 a: syntax"}},
	{"deep nesting", "a = " + strings.Repeat("[", 100) + strings.Repeat("]", 100) + "\nb = 1\n", []string{"1:21 nested too deep"}},
	{"very deep nesting", "a = " + strings.Repeat("[", 200000) + "\n", []string{"1:10005 a: syntax"}},
}

func TestNastyTexts(t *testing.T) {
	for _, c := range nastyTexts {
		t.Run(c.name, func(t *testing.T) {
			_, findings := Parse("f.toml", []byte(c.text))
			require.Len(t, findings, len(c.want), "%s", show(findings))
			for i, want := range c.want {
				place, message, _ := strings.Cut(want, " ")
				assert.Equal(t, place, fmt.Sprintf("%d:%d", findings[i].Line, findings[i].Column), "%s", findings[i])
				for _, part := range strings.Split(message, "*") {
					assert.Contains(t, findings[i].String(), part)
				}
			}
		})
	}
}

func TestParseGoesOnAfterAnError(t *testing.T) {
	doc, findings := Parse("f", []byte("[a\nb = 1\nc = 5 rpm\n[d]\ne = [[1, 2],\n[3\nf = 2\n"))
	require.Len(t, findings, 3, "%s", show(findings))
	assert.Equal(t, "1", doc.Root.Get("a").Get("b").Raw)
	assert.Equal(t, BadNode, doc.Root.Get("a").Get("c").Kind)
	assert.Equal(t, BadNode, doc.Root.Get("d").Get("e").Kind)
	assert.Equal(t, "2", doc.Root.Get("d").Get("f").Raw)
}

func TestPlaces(t *testing.T) {
	doc, findings := Parse("f", []byte("a = [ # one\n  1,\n  [], {x = [3]},\n]\n[[s]]\n[[s]]\nk.l = 'v'\n"))
	require.Empty(t, findings)
	for path, want := range map[string]Pos{
		"a": {1, 1}, "a[1]": {2, 3}, "a[2]": {3, 3}, "a[3]": {3, 7}, "a[3].x": {3, 8}, "a[3].x[1]": {3, 13},
		"s": {5, 3}, "s[2]": {6, 3}, "s[2].k.l": {7, 3},
	} {
		got, found := doc.Locate(path)
		assert.True(t, found, path)
		assert.Equal(t, want, got, path)
	}
	got, found := doc.Locate("s[2].k.m")
	assert.False(t, found)
	assert.Equal(t, Pos{7, 1}, got, "closest that exists")
	_, found = doc.Locate("s[9]..[x]")
	assert.False(t, found)
}

func TestSizeIsBounded(t *testing.T) {
	_, findings := Parse("f", make([]byte, MaxSize+1))
	require.Len(t, findings, 1)
	assert.Contains(t, findings[0].Reason, "too large")
}

// Texts made to be slow. One whose work grew with the square of its length would
// take minutes here.
func TestWorkIsBounded(t *testing.T) {
	n := MaxSize
	for name, text := range map[string]string{
		"all quotes":      strings.Repeat("a=\"\"\"\n", n/6),
		"all brackets":    strings.Repeat("a=[\n", n/4),
		"all bad":         strings.Repeat("?\n", n/2),
		"dots":            "[" + strings.Repeat("a.", n/2-2) + "a]\n",
		"repeated":        strings.Repeat("a=1\n", n/4),
		"repeated tables": strings.Repeat("[[a]]\n", n/6),
		"bytes":           strings.Repeat("#\xFF\n", n/3),
	} {
		_, findings := Parse("f", []byte(text))
		assert.LessOrEqual(t, len(findings), maxFindings+1, name)
	}
}

// agrees compares Parse with a plain decode of the same text by the TOML
// library: both accept it, with the same content, or both refuse it.
func agrees(t *testing.T, text []byte) {
	doc, findings := Parse("f", text)
	for _, f := range findings {
		if f.Line < 0 || f.Line > strings.Count(string(text), "\n")+1 || f.Column < 0 || f.Column > len(text)+1 || f.Reason == "" {
			t.Fatalf("finding without a sound place: %+v", f)
		}
	}
	var want map[string]any
	err := toml.Unmarshal(text, &want)
	if hasTime(doc.Root) || tooLong(doc.Root) {
		return // dates, and numbers beyond 64 bits, are judged by the field that reads them
	}
	if (err == nil) != (len(findings) == 0) {
		t.Fatalf("library says %v, Parse says:\n%s\n%q", err, show(findings), text)
	}
	if err == nil {
		if got, w := shape(doc.Root), shapeOf(want); got != w {
			t.Fatalf("got  %s\nwant %s\n%q", got, w, text)
		}
	}
}

func hasTime(n *Node) bool {
	if n.Kind == TimeNode {
		return true
	}
	for _, k := range append(n.Keys, n.Items...) {
		if hasTime(k) {
			return true
		}
	}
	return false
}

// tooLong reports a number that the library may refuse for its size: Parse
// keeps numbers as written and Scale.Parse refuses what does not fit.
func tooLong(n *Node) bool {
	switch n.Kind {
	case BadNode:
		return true
	case IntegerNode, FloatNode:
		_, power, _ := cutExponent(n.Raw)
		_, err := strconv.ParseFloat(strings.ReplaceAll(n.Raw, "_", ""), 64)
		return len(n.Raw) > 18 || len(power) > 3 || errors.Is(err, strconv.ErrRange)
	}
	for _, k := range append(n.Keys, n.Items...) {
		if tooLong(k) {
			return true
		}
	}
	return false
}

// shape writes a tree without numbers' spelling, keys sorted by fmt.
func shape(n *Node) string { return fmt.Sprint(plainValue(n)) }

func plainValue(n *Node) any {
	switch n.Kind {
	case TableNode:
		m := map[string]any{}
		for _, k := range n.Keys {
			m[k.Key] = plainValue(k)
		}
		return m
	case ListNode:
		var l []any
		for _, it := range n.Items {
			l = append(l, plainValue(it))
		}
		return l
	case StringNode:
		return n.Text
	case BoolNode:
		return n.Raw
	}
	return "number"
}

func shapeOf(v any) string { return fmt.Sprint(normal(v)) }

func normal(v any) any {
	switch x := v.(type) {
	case map[string]any:
		m := map[string]any{}
		for k, e := range x {
			m[k] = normal(e)
		}
		return m
	case []any:
		var l []any
		for _, e := range x {
			l = append(l, normal(e))
		}
		return l
	case string:
		return x
	case bool:
		return fmt.Sprint(x)
	}
	return "number"
}

func FuzzParse(f *testing.F) {
	for _, c := range nastyTexts {
		if len(c.text) < 1000 {
			f.Add([]byte(c.text))
		}
	}
	f.Add([]byte("a = 1e1000"))
	f.Add([]byte(goodGarden))
	f.Add([]byte(badGarden))
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) > 1<<12 || strings.HasPrefix(string(text), "\xEF\xBB\xBF") || strings.HasPrefix(string(text), "\xFF\xFE") {
			return
		}
		agrees(t, text)
		gardenKind.Decode("g", text)
	})
}
