package files

import (
	"strconv"
	"strings"
)

// MaxSize is the largest text that Parse reads, in bytes.
const MaxSize = 1 << 20

// maxDepth bounds the nesting of lists and inline tables.
const maxDepth = 16

// Pos is a place in a text. Line and Column count from 1, Column in bytes.
// The zero Pos means the whole text.
type Pos struct{ Line, Column int }

// NodeKind says what a Node holds.
type NodeKind uint8

// The kinds of node. BadNode stands where a key was recognised but its value
// could not be read; the finding for it has been made already.
const (
	BadNode NodeKind = iota
	TableNode
	ListNode
	StringNode
	IntegerNode
	FloatNode
	BoolNode
	TimeNode
)

var nodeKindNames = [...]string{"unreadable value", "table", "list", "text", "number", "number", "true or false", "date or time"}

// String names the kind in words for a message.
func (k NodeKind) String() string {
	if int(k) < len(nodeKindNames) {
		return nodeKindNames[k]
	}
	return "unknown kind"
}

// Node is one value of a Document: a table, a list or a scalar.
type Node struct {
	Kind   NodeKind
	Key    string  // empty for list items and the root
	KeyPos Pos     // where the key (or the table header) stands
	Pos    Pos     // where the value stands
	Raw    string  // as written, for scalars
	Text   string  // text of a StringNode with escapes resolved
	Keys   []*Node // entries of a TableNode, in the order of the text
	Items  []*Node // items of a ListNode

	index    map[string]*Node
	origin   origin
	headered bool // a ListNode written as [[header]]s
}

// origin says how a table came to be; it decides what may still be added.
type origin uint8

const (
	implied  origin = iota // parent of a [header]
	headed                 // has its own [header]
	dotted                 // made by a dotted key
	enclosed               // inline table: complete as written
)

// Get returns the entry of a table by key, or nil.
func (n *Node) Get(key string) *Node {
	if n == nil {
		return nil
	}
	return n.index[key]
}

func (n *Node) add(child *Node) {
	if n.index == nil {
		n.index = map[string]*Node{}
	}
	n.index[child.Key] = child
	n.Keys = append(n.Keys, child)
}

// Shown returns the value as written, shortened for a message.
func (n *Node) Shown() string {
	switch n.Kind {
	case TableNode:
		return "a table"
	case ListNode:
		return "a list of " + strconv.Itoa(len(n.Items))
	}
	return shorten(n.Raw)
}

// shorten keeps the first line of s, at most 60 bytes of it, so that a message
// stays readable.
func shorten(s string) string {
	const limit = 60
	cut := len(s)
	if i := strings.IndexAny(s, "\r\n"); i >= 0 {
		cut = i
	}
	if cut > limit {
		cut = limit
		for cut > 0 && s[cut]&0xC0 == 0x80 {
			cut--
		}
	}
	if cut == len(s) {
		return s
	}
	return s[:cut] + "..."
}

// Document is a parsed text.
type Document struct {
	File string // name used in findings
	Root *Node

	// Partial is set if a part of the text could not be placed in any table;
	// nothing is then said about missing keys.
	Partial bool

	changed []string // paths of values and tables that Change put in
}

// Locate returns the place of a dotted path such as "stage.launch.ceiling_rpm"
// or "shot[2].retard_deg" (items count from 1), or of the closest enclosing
// table that exists; found tells which.
func (d *Document) Locate(path string) (pos Pos, found bool) {
	n := d.Root
	pos = n.KeyPos
	for _, step := range splitPath(path) {
		next := n.step(step)
		if next == nil {
			return pos, false
		}
		n, pos = next, next.KeyPos
		if n.Key == "" {
			pos = n.Pos
		}
	}
	return pos, true
}

// Word returns a scalar as written, a text without its quotes; ok is false where
// the path leads to none.
func (d *Document) Word(path string) (word string, ok bool) {
	n := d.Root
	for _, step := range splitPath(path) {
		if n = n.step(step); n == nil {
			return "", false
		}
	}
	switch n.Kind {
	case StringNode:
		return n.Text, true
	case IntegerNode, FloatNode, BoolNode, TimeNode:
		return n.Raw, true
	}
	return "", false
}

func (n *Node) step(s string) *Node {
	if !strings.HasPrefix(s, "[") {
		return n.Get(s)
	}
	i, err := strconv.Atoi(strings.Trim(s, "[]"))
	if err != nil || i < 1 || i > len(n.Items) {
		return nil
	}
	return n.Items[i-1]
}

// splitPath turns "a.b[2].c" into a, b, [2], c.
func splitPath(path string) []string {
	var steps []string
	for _, part := range strings.Split(path, ".") {
		name, item, has := strings.Cut(part, "[")
		if name != "" {
			steps = append(steps, name)
		}
		for has {
			var one string
			one, item, has = strings.Cut(item, "[")
			steps = append(steps, "["+one)
		}
	}
	return steps
}

func joinPath(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
