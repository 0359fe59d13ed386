package wire

import (
	"encoding/binary"

	"github.com/holdline/holdline/controller"
)

// Version of the protocol.
const Version = 1

// Sizes of this implementation. Another rig may have smaller ones and says so
// in its hello.
const (
	MaxFrame = 2048                      // stuffed, with its delimiter
	MaxBody  = MaxFrame - 4 - 1 - 1 - 10 // one stuffing byte for each 254
	MinFrame = 256                       // every rig takes frames of this length
	crcSize  = 4
)

// NoSession stands for the nonce in the checksum of messages outside a session:
// the letters "none". It is not 0, because a checksum that begins with four zero
// bytes is in the same state as after any complete frame: two frames that run
// together would pass for one.
const NoSession = 0x656e6f6e

// Checksum is the checksum of a body under the nonce of a session; 0: none.
func Checksum(nonce uint32, body []byte) uint32 {
	if nonce == 0 {
		nonce = NoSession
	}
	first := [...]byte{byte(nonce), byte(nonce >> 8), byte(nonce >> 16), byte(nonce >> 24)}
	return controller.CRC32C(controller.CRC32C(0, first[:]), body)
}

// Frame is a body on its way out, and the stuffed bytes it becomes.
type Frame struct {
	W    Writer
	Body [MaxBody + crcSize]byte
	Wire [MaxFrame + 1]byte
	N    int // of Wire
}

// Begin empties the frame and starts a body of the given type.
func (f *Frame) Begin(t Type) *Writer {
	f.W.Reset(f.Body[:MaxBody])
	f.W.U8(uint8(t))
	f.N = 0
	return &f.W
}

// Seal adds the checksum, stuffs the body and puts the delimiter behind it; a
// lead delimiter goes in front if lead is set. It returns the bytes to send,
// which stay good until the next Begin; none if the body did not fit.
func (f *Frame) Seal(nonce uint32, lead bool) []byte {
	if f.W.Full() {
		return nil
	}
	n := f.W.Len()
	binary.LittleEndian.PutUint32(f.Body[n:], Checksum(nonce, f.Body[:n]))
	at := 0
	if lead {
		f.Wire[0] = 0
		at = 1
	}
	f.N = at + Stuff(f.Wire[at:], f.Body[:n+crcSize])
	return f.Wire[:f.N]
}

// Stuff writes src to dst by consistent overhead byte stuffing, with the
// delimiter behind it, and returns the length. dst needs room for
// StuffedLen(len(src)).
func Stuff(dst, src []byte) int {
	code, n, run := 0, 1, byte(1)
	for i, b := range src {
		if b != 0 {
			dst[n] = b
			n++
			run++
			if run < 0xff {
				continue
			}
			if i == len(src)-1 {
				break
			}
		}
		dst[code] = run
		code, run = n, 1
		n++
	}
	dst[code] = run
	dst[n] = 0
	return n + 1
}

// StuffedLen is the most that n bytes become, with the delimiter.
func StuffedLen(n int) int { return n + n/254 + 2 }

// Deframer collects received bytes into frames and undoes the stuffing as they
// come. The zero value is ready.
type Deframer struct {
	buf  [MaxBody + crcSize]byte
	n    int
	left uint8 // bytes to the end of the group
	code uint8 // of the group; 0: none yet
	bad  bool  // drop up to the next delimiter

	Dropped uint32 // frames that were too long or wrongly stuffed
}

// Feed takes one byte, and reports whether it completed a frame that Data holds
// until the next Feed.
func (d *Deframer) Feed(b byte) bool {
	if d.code == 0 && d.left == 0 && b != 0 && !d.bad {
		d.n = 0
	}
	if b == 0 {
		return d.end()
	}
	switch {
	case d.bad:
	case d.left > 0:
		d.put(b)
		d.left--
	default:
		if d.code != 0 && d.code != 0xff {
			d.put(0)
		}
		d.code, d.left = b, b-1
	}
	return false
}

func (d *Deframer) put(b byte) {
	if d.n == len(d.buf) {
		d.bad = true
		return
	}
	d.buf[d.n] = b
	d.n++
}

func (d *Deframer) end() bool {
	whole := !d.bad && d.left == 0 && d.code != 0
	if !whole && (d.bad || d.code != 0) {
		d.Dropped++
	}
	d.left, d.code, d.bad = 0, 0, false
	return whole
}

// Idle reports whether the deframer stands between frames.
func (d *Deframer) Idle() bool { return d.code == 0 && !d.bad }

// Data is the frame that Feed has completed: body and checksum.
func (d *Deframer) Data() []byte { return d.buf[:d.n] }

// Body checks a frame and returns its body; ok is false if it is too short, or
// damaged, or of another session. Session messages are checked under nonce,
// the others under NoSession.
func Body(frame []byte, nonce uint32) (body []byte, ok bool) {
	n := len(frame) - crcSize
	if n < 1 {
		return nil, false
	}
	if !Type(frame[0]).InSession() {
		nonce = 0
	} else if nonce == 0 {
		return nil, false
	}
	body = frame[:n]
	return body, Checksum(nonce, body) == binary.LittleEndian.Uint32(frame[n:])
}
