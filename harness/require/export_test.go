package require

import "reflect"

// SameTree reports whether two formulas are the same but for positions.
func SameTree(a, b *Formula) bool {
	return reflect.DeepEqual(stripped(a.root), stripped(b.root))
}

func stripped(e *expr) *expr {
	c := *e
	c.pos, c.bound.pos, c.kids = 0, 0, nil
	for _, k := range e.kids {
		c.kids = append(c.kids, stripped(k))
	}
	return &c
}
