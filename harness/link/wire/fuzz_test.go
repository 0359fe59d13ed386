package wire

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// deframer is what FuzzDeframer holds against its simple twin.
type deframer interface {
	Feed(byte) bool
	Data() []byte
}

// twinUnstuff undoes the stuffing of what stood between two delimiters, as
// WIRE.md says it.
func twinUnstuff(group []byte) (plain []byte, ok bool) {
	for len(group) > 0 {
		n := int(group[0])
		if n > len(group) {
			return nil, false
		}
		plain = append(plain, group[1:n]...)
		group = group[n:]
		if n < 255 && len(group) > 0 {
			plain = append(plain, 0)
		}
	}
	return plain, len(plain) <= MaxBody+crcSize
}

// checkDeframer feeds a deframer and compares it with the twin.
func checkDeframer(t require.TestingT, d deframer, stream []byte) {
	var got, want [][]byte
	for _, b := range stream {
		if d.Feed(b) {
			got = append(got, append([]byte{}, d.Data()...))
		}
	}
	groups := bytes.Split(stream, []byte{0})
	for _, g := range groups[:len(groups)-1] {
		if plain, ok := twinUnstuff(g); ok && len(g) > 0 {
			want = append(want, append([]byte{}, plain...))
		}
	}
	require.Equal(t, want, got)
}

func FuzzDeframer(f *testing.F) {
	f.Add([]byte{3, 1, 2, 0, 0, 1, 0, 9, 1, 0, 255, 0})
	f.Add(append(append([]byte{0xff}, bytes.Repeat([]byte{7}, 254)...), 0))
	f.Add(append(bytes.Repeat([]byte{2, 7}, 1100), 0, 2, 5, 0))
	f.Fuzz(func(t *testing.T, stream []byte) { checkDeframer(t, &Deframer{}, stream) })
}

// forgetful is a deframer with a planted fault: a frame that was cut short
// leaves its group count behind.
type forgetful struct{ Deframer }

func (d *forgetful) Feed(b byte) bool {
	left := d.left
	done := d.Deframer.Feed(b)
	if b == 0 && left == 1 {
		d.left, d.code = 1, 2
	}
	return done
}

// found reports whether a check finds fault with one of many streams.
func found(check func(t require.TestingT, stream []byte)) bool {
	r := rand.New(rand.NewPCG(1, 2))
	for range 20_000 {
		stream := make([]byte, 1+r.IntN(40))
		for i := range stream {
			stream[i] = byte(r.IntN(6) * r.IntN(60) / 20)
		}
		c := &catcher{}
		func() {
			defer func() {
				if x := recover(); x != nil && x != caught {
					panic(x)
				}
			}()
			check(c, stream)
		}()
		if c.failed {
			return true
		}
	}
	return false
}

// catcher notes a failure instead of failing.
type catcher struct{ failed bool }

var caught = new(int)

func (c *catcher) Errorf(string, ...any) { c.failed = true }
func (c *catcher) FailNow()              { c.failed = true; panic(caught) }

func TestFuzzDeframerFindsAPlantedFault(t *testing.T) {
	assert.True(t, found(func(t require.TestingT, s []byte) { checkDeframer(t, &forgetful{}, s) }))
	assert.False(t, found(func(t require.TestingT, s []byte) { checkDeframer(t, &Deframer{}, s) }))
}

// checkRig plays a script of good and bad frames to a rig and holds it to its
// rules: only the expected step moves it, a repetition gets the same bytes, and
// whatever it sends is a good frame.
func checkRig(t require.TestingT, script []byte, spoil func(*plainRig)) {
	rig := newPlainRig()
	var out Frame
	exampleStart().Append(out.Begin(StartMsg))
	rig.Receive(out.Seal(0, false))
	rig.take()
	for len(script) >= 2 {
		op, n := script[0], min(int(script[1]), len(script)-2)
		arg := script[2 : 2+n]
		script = script[2+n:]
		moved, nonce := rig.ticks+rig.commits, rig.nonce
		expected := rig.expected
		switch op % 4 {
		case 0: // anything at all, ended
			rig.Receive(arg)
			rig.Receive(lead[:])
		case 1, 2: // a step, of whatever content
			seq := expected + uint16(op>>2)%4 - 1
			w := out.Begin(Step)
			w.U16(seq)
			w.Put(arg)
			frame := append([]byte(nil), out.Seal(exampleNonce, false)...)
			rig.Receive(frame)
			if seq == expected && rig.expected == expected+1 && nonce != 0 {
				first := rig.take()
				moved = rig.ticks + rig.commits
				if spoil != nil {
					spoil(rig)
				}
				rig.Receive(frame)
				require.Equal(t, append([]byte{0}, first...), rig.sent, "the kept answer")
			}
		case 3: // any message
			if len(arg) > 0 {
				out.Begin(Type(arg[0])).Put(arg[1:])
				code := uint32(0)
				if Type(arg[0]).InSession() {
					code = exampleNonce
				}
				rig.Receive(out.Seal(code, false))
				if Type(arg[0]) == Step {
					moved = rig.ticks + rig.commits
				}
			}
		}
		require.Equal(t, moved, rig.ticks+rig.commits, "only the expected step moves the controller")
		heard(t, rig.take(), exampleNonce)
		if rig.nonce != exampleNonce {
			return // ended, or another session
		}
		rig.micros += 1000
		rig.Poll()
		rig.take()
	}
}

func FuzzRig(f *testing.F) {
	f.Add([]byte{5, 2, 0, 0, 5, 3, 0x80, 0, 1, 1, 2, 1, 7})
	f.Add([]byte{0, 3, 1, 2, 3, 5, 6, 0x10, 0xff, 0xff, 1, 0, 0, 3, 1, 6})
	f.Fuzz(func(t *testing.T, script []byte) { checkRig(t, script, nil) })
}

// A rig with a planted fault, that takes a repetition for a new step, is found;
// ours is not.
func TestFuzzRigFindsAPlantedFault(t *testing.T) {
	again := func(r *plainRig) { r.expected-- }
	assert.True(t, found(func(t require.TestingT, s []byte) { checkRig(t, s, again) }))
	assert.False(t, found(func(t require.TestingT, s []byte) { checkRig(t, s, nil) }))
}
