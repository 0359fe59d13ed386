package wire

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/holdline/holdline/controller"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The check value of CRC-32C and RFC 3720, appendix B.4.
func TestChecksumIsTheStandards(t *testing.T) {
	require.Equal(t, uint32(0xe3069283), controller.CRC32C(0, []byte("123456789")))
	var nonce [4]byte
	nonce[0], nonce[1], nonce[2], nonce[3] = 0x78, 0x56, 0x34, 0x12
	require.Equal(t, controller.CRC32C(0, append(nonce[:], "abc"...)), Checksum(0x12345678, []byte("abc")))
	require.Equal(t, controller.CRC32C(0, []byte("noneabc")), Checksum(0, []byte("abc")))
}

// The examples of the paper that describes the stuffing: Cheshire and Baker,
// "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2),
// 1999 (from memory), with the delimiter added.
func TestStuffingOfThePaper(t *testing.T) {
	ones := func(from, n int) (b []byte) {
		for i := range n {
			b = append(b, byte(from+i))
		}
		return b
	}
	for _, c := range []struct{ plain, stuffed []byte }{
		{[]byte{0}, []byte{1, 1, 0}},
		{[]byte{0, 0}, []byte{1, 1, 1, 0}},
		{[]byte{0x11, 0x22, 0, 0x33}, []byte{3, 0x11, 0x22, 2, 0x33, 0}},
		{[]byte{0x11, 0, 0, 0}, []byte{2, 0x11, 1, 1, 1, 0}},
		{ones(1, 254), append(append([]byte{0xff}, ones(1, 254)...), 0)},
		{ones(0, 255), append(append([]byte{1, 0xff}, ones(1, 254)...), 0)},
		{ones(1, 255), append(append(append([]byte{0xff}, ones(1, 254)...), 2, 0xff), 0)},
	} {
		dst := make([]byte, StuffedLen(len(c.plain)))
		require.Equal(t, c.stuffed, dst[:Stuff(dst, c.plain)])
		require.Equal(t, c.plain, unstuff(t, c.stuffed))
	}
}

func unstuff(t require.TestingT, stuffed []byte) []byte {
	var d Deframer
	for i, b := range stuffed {
		if d.Feed(b) {
			require.Equal(t, len(stuffed)-1, i)
			return append([]byte(nil), d.Data()...)
		}
	}
	require.Fail(t, "no frame")
	return nil
}

func TestStuffingGoesThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plain := rapid.SliceOfN(rapid.SampledFrom([]byte{0, 0, 1, 2, 254, 255}), 1, 900).Draw(t, "plain")
		if rapid.Bool().Draw(t, "no zero") {
			plain = bytes.ReplaceAll(plain, []byte{0}, []byte{7})
		}
		dst := make([]byte, StuffedLen(len(plain)))
		n := Stuff(dst, plain)
		require.Equal(t, n-1, bytes.IndexByte(dst[:n], 0))
		require.Equal(t, plain, unstuff(t, dst[:n]))
	})
}

// randomInput moves an input on: some channels fresh, some older, some odd.
func randomInput(r *rand.Rand, in *controller.Input) {
	for c := range in.Channels {
		s := &in.Channels[c]
		switch r.IntN(8) {
		case 0:
			*s = controller.Sample{Value: int32(r.Uint32()), Age: uint16(r.Uint32()), Good: r.IntN(2) == 0}
		case 1, 2:
			*s = controller.Sample{Value: s.Value + int32(r.IntN(200)) - 100, Good: true}
		case 3:
			s.Age = older(s.Age)
		case 4:
			s.Value = []int32{0, math.MaxInt32, math.MinInt32, -1}[r.IntN(4)]
		case 5:
			s.Age = 0xffff
		}
	}
	if r.IntN(5) == 0 {
		in.On, in.Known = controller.SwitchSet(r.Uint32()&0x7fff), controller.SwitchSet(r.Uint32()&0x7fff)
	}
	in.Periods = uint16(1 + r.IntN(3)*r.IntN(400))
}

func randomItem(r *rand.Rand, it *Item) {
	it.Only = r.IntN(6) == 0
	it.Key = !it.Only && r.IntN(20) == 0
	it.N = r.IntN(5)
	if it.Only {
		it.N++
	} else {
		it.Tick += 1 + uint32(r.IntN(3)*r.IntN(3))
		randomInput(r, &it.In)
	}
	if r.IntN(50) == 0 {
		it.N = MaxEvents
	}
	for i := range it.Events[:it.N] {
		it.Events[i] = Event{Cylinder: uint8(1 + r.IntN(12)), Kind: Kind(r.IntN(2)),
			Cycle: controller.Cycle(r.IntN(256) * r.IntN(2)), Angle: int32(r.IntN(fullTurn))}
	}
}

func TestStepsGoThereAndBack(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	var host, rig Memory
	var w Writer
	var rd Reader
	var asked, got Item
	buf := make([]byte, ItemRoom(MaxEvents))
	for range 50_000 {
		randomItem(r, &asked)
		w.Reset(buf[:ItemRoom(asked.N)])
		host.AppendItem(&w, &asked)
		require.False(t, w.Full())
		rd.Reset(w.Bytes())
		require.True(t, rig.ParseItem(&rd, &got))
		require.True(t, rd.Done())
		require.Equal(t, host, rig)
		require.Equal(t, asked.Only, got.Only)
		require.Equal(t, asked.Events[:asked.N], got.Events[:got.N])
		if !asked.Only {
			require.Equal(t, asked.Tick, got.Tick)
			require.Equal(t, asked.In, got.In)
			require.Equal(t, asked.Key, got.Key)
		}
	}
}

func randomOutput(r *rand.Rand, o *controller.Output) {
	for i := range NumFields {
		if r.IntN(6) != 0 {
			continue
		}
		x := int32(r.Uint32())
		if !setField(o, i, x) {
			setField(o, i, x&1) // a narrow field
		}
	}
}

func TestAnswersGoThereAndBack(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 1))
	var rig, host Registers
	var w Writer
	var rd Reader
	var out controller.Output
	buf := make([]byte, AnswerRoom(true, 3))
	for range 20_000 {
		randomOutput(r, &out)
		w.Reset(buf)
		rig.AppendOutput(&w, &out)
		var asked [3]Event
		for i := range asked {
			asked[i] = Event{Kind: Kind(r.IntN(2)), Why: controller.Reason(r.IntN(8)), Give: r.IntN(2) == 0,
				Unburnt: r.IntN(2) == 0, Drop: r.IntN(2) == 0}
			asked[i].Value = rig.expected(&asked[i])
			if r.IntN(3) == 0 {
				asked[i].Value = int32(r.Uint32())
			}
			rig.AppendDecision(&w, &asked[i])
		}
		require.False(t, w.Full())
		rd.Reset(w.Bytes())
		require.True(t, host.ParseOutput(&rd))
		require.Equal(t, out, host.Out)
		for i := range asked {
			e := Event{Kind: asked[i].Kind}
			host.ParseDecision(&rd, &e)
			require.Equal(t, asked[i], e)
		}
		require.True(t, rd.Done())
		require.Equal(t, rig, host)
	}
}

func TestMessagesGoThereAndBack(t *testing.T) {
	var w Writer
	var r Reader
	buf := make([]byte, 200)
	h := HostedHello()
	h.Token, h.Nonce, h.Calibration = 1, 2, 3
	w.Reset(buf)
	h.Append(&w)
	for n := range w.Len() {
		var got Hello
		r.Reset(w.Bytes()[:n])
		assert.False(t, got.Parse(&r), "cut to %d", n)
	}
	r.Reset(w.Bytes())
	var got Hello
	require.True(t, got.Parse(&r))
	require.Equal(t, h, got)

	s := exampleStart()
	w.Reset(buf)
	s.Append(&w)
	for n := range w.Len() {
		var got Start
		r.Reset(w.Bytes()[:n])
		assert.False(t, got.Parse(&r), "cut to %d", n)
	}
	r.Reset(w.Bytes())
	var start Start
	require.True(t, start.Parse(&r))
	require.Equal(t, *s, start)
}

// An item never takes more room than it is asked for, at its worst.
// No session has the nonce that means none.
func TestAStartNamesASession(t *testing.T) {
	for nonce, well := range map[uint32]bool{0: false, NoSession: false, 1: true, ^uint32(0): true} {
		s := exampleStart()
		s.Nonce = nonce
		var w Writer
		var r Reader
		w.Reset(make([]byte, 200))
		s.Append(&w)
		r.Reset(w.Bytes())
		assert.Equal(t, well, s.Parse(&r), "%#x", nonce)
	}
}

func TestRoomIsEnough(t *testing.T) {
	var m Memory
	var w Writer
	it := Item{Tick: 7, N: MaxEvents}
	it.In.Periods = 0xffff
	it.In.On = 0x7fff
	for c := range it.In.Channels {
		it.In.Channels[c] = controller.Sample{Value: math.MinInt32, Age: 0xffff}
	}
	for i := range it.Events {
		it.Events[i] = Event{Cylinder: 12, Cycle: controller.Cycle(3 * i), Angle: fullTurn - 1 - int32(i)}
	}
	w.Reset(make([]byte, ItemRoom(MaxEvents)))
	m.AppendItem(&w, &it)
	require.False(t, w.Full())
	require.Greater(t, w.Len(), 400)
}

// Nothing on the way of a frame allocates, on either side.
func TestNothingAllocates(t *testing.T) {
	rig := newPlainRig()
	x := &exchange{t: t, rig: rig}
	exampleStart().Append(x.out.Begin(StartMsg))
	rig.Receive(x.out.Seal(0, false))
	rig.sent = make([]byte, 0, 1<<20)
	var it Item
	seq := uint16(0)
	require.Zero(t, testing.AllocsPerRun(200, func() {
		seq++
		it.Tick++
		it.In.Set(controller.EngineSpeed, 40000+int32(seq)*100)
		it.Events[0] = Event{Cylinder: 1, Cycle: controller.Cycle(seq), Angle: 100}
		it.N = 1
		w := x.out.Begin(Step)
		w.U16(seq)
		x.mem.AppendItem(w, &it)
		rig.Receive(x.out.Seal(exampleNonce, false))
		rig.Poll()
	}))
	require.GreaterOrEqual(t, rig.ticks, 200)
}

// Two complete frames that lose the delimiter between them are not one good
// frame, whatever sessions they belong to. (With four zero bytes before the body
// they would be: the campaign of damaged frames in package link found it.)
func TestFramesRunTogetherAreNoFrame(t *testing.T) {
	const nonce = 0x5eed1e55
	types := []Type{Probe, HelloMsg, StartMsg, Started, Step, Answer, Off, Bye, Done, Echo, Echoed, Load, Loaded, Report}
	sealed := func(ty Type) []byte {
		body := []byte{byte(ty), 7, 0, 9}
		n := uint32(0)
		if ty.InSession() {
			n = nonce
		}
		return binary.LittleEndian.AppendUint32(body, Checksum(n, body))
	}
	for _, a := range types {
		for _, b := range types {
			for _, n := range []uint32{0, nonce} {
				_, ok := Body(append(sealed(a), sealed(b)...), n)
				require.False(t, ok, "%v and %v", a, b)
			}
		}
	}
}
