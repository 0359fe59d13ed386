package wire

import "encoding/binary"

// Writer fills a fixed buffer. What does not fit is left out, and Full says so.
type Writer struct {
	b    []byte
	n    int
	full bool
}

// Reset starts anew in b.
func (w *Writer) Reset(b []byte) { w.b, w.n, w.full = b, 0, false }

// Len is the number of bytes written.
func (w *Writer) Len() int { return w.n }

// Room is the number of bytes that still fit.
func (w *Writer) Room() int { return len(w.b) - w.n }

// Full reports whether something did not fit.
func (w *Writer) Full() bool { return w.full }

// Bytes is what was written.
func (w *Writer) Bytes() []byte { return w.b[:w.n] }

// U8 writes a byte.
func (w *Writer) U8(x uint8) {
	if w.n >= len(w.b) {
		w.full = true
		return
	}
	w.b[w.n] = x
	w.n++
}

// U16 writes two bytes, low one first.
func (w *Writer) U16(x uint16) {
	w.U8(uint8(x))
	w.U8(uint8(x >> 8))
}

// U32 writes four bytes, lowest first.
func (w *Writer) U32(x uint32) {
	w.U16(uint16(x))
	w.U16(uint16(x >> 16))
}

// V writes a varint.
func (w *Writer) V(x uint64) {
	for x >= 0x80 {
		w.U8(uint8(x) | 0x80)
		x >>= 7
	}
	w.U8(uint8(x))
}

// Z writes the difference of two values.
func (w *Writer) Z(now, before int32) {
	d := now - before
	w.V(uint64(uint32(d)<<1 ^ uint32(d>>31)))
}

// Put writes bytes.
func (w *Writer) Put(p []byte) {
	if w.Room() < len(p) {
		w.full = true
		return
	}
	w.n += copy(w.b[w.n:], p)
}

// Reader reads a body. Reading beyond the end gives zeros, and OK says so.
type Reader struct {
	b   []byte
	i   int
	bad bool
}

// Reset starts anew in b.
func (r *Reader) Reset(b []byte) { r.b, r.i, r.bad = b, 0, false }

// Left is the number of bytes not yet read.
func (r *Reader) Left() int { return len(r.b) - r.i }

// OK reports whether all reads found their bytes and were well formed.
func (r *Reader) OK() bool { return !r.bad }

// Done reports whether all reads were good and nothing is left.
func (r *Reader) Done() bool { return !r.bad && r.i == len(r.b) }

// Fail marks the body as malformed.
func (r *Reader) Fail() { r.bad = true }

// U8 reads a byte.
func (r *Reader) U8() uint8 {
	if r.i >= len(r.b) {
		r.bad = true
		return 0
	}
	r.i++
	return r.b[r.i-1]
}

// U16 reads two bytes.
func (r *Reader) U16() uint16 {
	lo := uint16(r.U8())
	return lo | uint16(r.U8())<<8
}

// U32 reads four bytes.
func (r *Reader) U32() uint32 {
	if r.Left() >= 4 {
		r.i += 4
		return binary.LittleEndian.Uint32(r.b[r.i-4:])
	}
	r.bad, r.i = true, len(r.b)
	return 0
}

// V reads a varint of at most the given number of bits. A longer one is
// malformed.
func (r *Reader) V(bits uint) (x uint64) {
	for shift := uint(0); shift < bits; shift += 7 {
		b := r.U8()
		part := uint64(b & 0x7f)
		if part<<shift>>shift != part || bits < 64 && part<<shift>>bits != 0 {
			r.bad = true
			return 0
		}
		x |= part << shift
		if b < 0x80 {
			return x
		}
	}
	r.bad = true
	return 0
}

// V32 reads a varint of 32 bits.
func (r *Reader) V32() uint32 { return uint32(r.V(32)) }

// Z reads a difference and adds it to the value before.
func (r *Reader) Z(before int32) int32 {
	u := r.V32()
	return before + (int32(u>>1) ^ -int32(u&1))
}

// Rest is what has not been read.
func (r *Reader) Rest() []byte {
	p := r.b[r.i:]
	r.i = len(r.b)
	return p
}

// Take reads n bytes, fewer if there are no more.
func (r *Reader) Take(n int) []byte {
	if r.Left() < n {
		r.bad = true
		n = r.Left()
	}
	r.i += n
	return r.b[r.i-n : r.i]
}
