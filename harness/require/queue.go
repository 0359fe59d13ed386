package require

// extreme is the minimum of a sliding window: a queue whose values ascend, so
// that the first is the least (Lemire 2006).
type extreme struct {
	at   []int
	v    []int64
	head int
}

// push adds the value at tick t, later than all before.
func (e *extreme) push(t int, v int64) {
	for n := len(e.v); n > e.head && e.v[n-1] >= v; n-- {
		e.at, e.v = e.at[:n-1], e.v[:n-1]
	}
	if e.head > 32 && e.head > len(e.v)/2 {
		e.at = e.at[:copy(e.at, e.at[e.head:])]
		e.v = e.v[:copy(e.v, e.v[e.head:])]
		e.head = 0
	}
	e.at, e.v = append(e.at, t), append(e.v, v)
}

// least drops the ticks before oldest and gives the minimum of the rest.
func (e *extreme) least(oldest int) int64 {
	for e.head < len(e.at) && e.at[e.head] < oldest {
		e.head++
	}
	if e.head == len(e.at) {
		return top
	}
	return e.v[e.head]
}

// cell is a stretch of until or since: the minimum of p, and the value as if
// there were nothing beyond the stretch. See the joining rule in kernel.go.
type cell struct{ p, q int64 }

var noCell = cell{top, bottom}

// joinCells joins an older and a newer stretch. Until is read from the old
// end, since from the new one.
func joinCells(old, new cell, back bool) cell {
	near, far := old, new
	if back {
		near, far = new, old
	}
	return cell{min(old.p, new.p), max(near.q, min(near.p, far.q))}
}

// queue is a sliding window of cells and what they join to, in constant time
// on average: the newer ones joined as they come, the older ones joined from
// their newest end on, each to all that is newer among them.
type queue struct {
	newer  []cell
	at     []int // ticks of newer
	joined cell  // all of newer
	older  []cell
	olderT []int // ticks of older, the oldest last
}

func (q *queue) push(t int, c cell, back bool) {
	if len(q.newer) == 0 {
		q.joined = noCell
	}
	q.joined = joinCells(q.joined, c, back)
	q.newer, q.at = append(q.newer, c), append(q.at, t)
}

// value drops the ticks before oldest and gives the until or since of the rest.
func (q *queue) value(oldest int, back bool) int64 {
	for {
		if n := len(q.older); n > 0 {
			if q.olderT[n-1] >= oldest {
				break
			}
			q.older, q.olderT = q.older[:n-1], q.olderT[:n-1]
			continue
		}
		if len(q.newer) == 0 || q.at[0] >= oldest {
			break
		}
		q.turn(back)
	}
	front, rest := noCell, noCell
	if n := len(q.older); n > 0 {
		front = q.older[n-1]
	}
	if len(q.newer) > 0 {
		rest = q.joined
	}
	return joinCells(front, rest, back).q
}

// turn makes all cells older ones.
func (q *queue) turn(back bool) {
	acc := noCell
	for i := len(q.newer) - 1; i >= 0; i-- {
		acc = joinCells(q.newer[i], acc, back)
		q.older, q.olderT = append(q.older, acc), append(q.olderT, q.at[i])
	}
	q.newer, q.at = q.newer[:0], q.at[:0]
}
