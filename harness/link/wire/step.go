package wire

import (
	"math/bits"

	"github.com/holdline/holdline/controller"
)

// MaxEvents is how many commits one item can carry, as many as a bench's frame.
const MaxEvents = 64

// Kind says which decision an event asks for.
type Kind uint8

// The kinds of event.
const (
	Fuel Kind = iota
	Spark
)

// Event is one commit: the question, and the rig's answer.
type Event struct {
	Angle    int32 // 1/100 degree, 0 to 71999, after the firing dead centre of the first cylinder in the order
	Value    int32 // timing of a spark, multiplier of an injection
	Cylinder uint8 // the maker's number, from 1
	Cycle    controller.Cycle
	Kind     Kind
	Why      controller.Reason
	Give     bool // fuel given, or spark fired
	Unburnt  bool
	Drop     bool
}

// Item is one tick with its commits, or commits between ticks.
type Item struct {
	Tick uint32
	Only bool // commits only: no tick
	Key  bool // refers to nothing before it
	In   controller.Input
	N    int // of Events
	// Events in the order of their angles.
	Events [MaxEvents]Event
}

// The flags of an item.
const (
	flagKey = 1 << iota
	flagOnly
	flagTick
	flagPeriods
	flagSwitches
	flagAging
	flagOdd
	flagEvents
)

const (
	allChannels = 1<<controller.NumChannels - 1
	fullTurn    = 72000

	eventSpark = 1 << 4
	eventCycle = 1 << 5
	eventAngle = 1 << 6
)

// ItemRoom is the most bytes that an item with n events takes: flags, tick,
// periods, switches, aging, fresh and odd channels, events.
func ItemRoom(n int) int {
	return 1 + 4 + 3 + 4 + 3 + 3 + 3 + 8*int(controller.NumChannels) + 1 + 5*n
}

// Memory is what the differences of a step refer to. Host and rig keep one
// each; they agree because steps are taken in sequence only.
type Memory struct {
	Tick     uint32
	Samples  [controller.NumChannels]controller.Sample
	Aging    controller.ChannelSet
	On       controller.SwitchSet
	Known    controller.SwitchSet
	commits  [controller.MaxCylinders + 1][2]lastCommit
	fallback lastCommit
}

type lastCommit struct {
	angle int32
	cycle controller.Cycle
}

// Reset forgets everything.
func (m *Memory) Reset() { *m = Memory{} }

func (m *Memory) last(cylinder uint8, k Kind) *lastCommit {
	if cylinder > controller.MaxCylinders {
		m.fallback = lastCommit{}
		return &m.fallback
	}
	return &m.commits[cylinder][k&1]
}

func older(age uint16) uint16 {
	if age == 0xffff {
		return age
	}
	return age + 1
}

// AppendItem writes an item as a difference from the memory, and brings the
// memory up to date. A Writer that is full afterwards leaves the memory in
// disorder: ask for ItemRoom first.
func (m *Memory) AppendItem(w *Writer, it *Item) {
	if it.Only {
		w.U8(flagOnly | flagEvents)
		m.appendEvents(w, it)
		return
	}
	if it.Key {
		m.Reset()
	}
	aging, fresh, odd := m.sort(&it.In)
	flags := uint8(0)
	set := func(on bool, f uint8) {
		if on {
			flags |= f
		}
	}
	set(it.Key, flagKey)
	set(it.Key || it.Tick != m.Tick+1, flagTick)
	set(it.In.Periods > 1, flagPeriods)
	set(it.In.On != m.On || it.In.Known != m.Known, flagSwitches)
	set(aging != m.Aging, flagAging)
	set(odd != 0, flagOdd)
	set(it.N > 0, flagEvents)
	w.U8(flags)
	m.appendHead(w, it, flags, aging)
	m.appendChannels(w, &it.In, fresh, odd)
	if flags&flagEvents != 0 {
		m.appendEvents(w, it)
	}
}

func (m *Memory) appendHead(w *Writer, it *Item, flags uint8, aging controller.ChannelSet) {
	if flags&flagTick != 0 {
		w.U32(it.Tick)
	}
	m.Tick = it.Tick
	if flags&flagPeriods != 0 {
		w.V(uint64(it.In.Periods))
	}
	if flags&flagSwitches != 0 {
		w.U16(uint16(it.In.On))
		w.U16(uint16(it.In.Known))
	}
	m.On, m.Known = it.In.On, it.In.Known
	if flags&flagAging != 0 {
		w.V(uint64(aging))
	}
	m.Aging = aging
}

// sort decides, for each channel, how it travels: not at all, as a fresh
// sample, or in full. A channel joins the aging ones when it is seen to grow
// older, and leaves them when it is seen to stay as it is.
func (m *Memory) sort(in *controller.Input) (aging, fresh, odd controller.ChannelSet) {
	aging = m.Aging
	for c := range in.Channels {
		now, was, bit := &in.Channels[c], &m.Samples[c], controller.ChannelSet(1)<<c
		if now.Value == was.Value && now.Good == was.Good {
			if now.Age == was.Age && (aging&bit == 0 || was.Age == 0) {
				aging &^= bit
				continue
			}
			if now.Age == older(was.Age) {
				aging |= bit
				continue
			}
		}
		if now.Good && now.Age == 0 {
			fresh |= bit
		} else {
			odd |= bit
		}
	}
	return aging, fresh, odd
}

func (m *Memory) appendChannels(w *Writer, in *controller.Input, fresh, odd controller.ChannelSet) {
	w.V(uint64(fresh))
	for s := fresh; s != 0; s &= s - 1 {
		c := bits.TrailingZeros32(uint32(s))
		w.Z(in.Channels[c].Value, m.Samples[c].Value)
	}
	if odd != 0 {
		w.V(uint64(odd))
	}
	for s := odd; s != 0; s &= s - 1 {
		c := bits.TrailingZeros32(uint32(s))
		now := &in.Channels[c]
		w.Z(now.Value, m.Samples[c].Value)
		age := uint64(now.Age) << 1
		if now.Good {
			age |= 1
		}
		w.V(age)
	}
	m.Samples = in.Channels
}

func (m *Memory) appendEvents(w *Writer, it *Item) {
	w.U8(uint8(it.N))
	for i := range it.Events[:it.N] {
		e := &it.Events[i]
		last := m.last(e.Cylinder, e.Kind)
		b := e.Cylinder&15 | uint8(e.Kind&1)<<4
		if e.Cycle != last.cycle+1 {
			b |= eventCycle
		}
		if e.Angle != last.angle {
			b |= eventAngle
		}
		w.U8(b)
		if b&eventCycle != 0 {
			w.U8(uint8(e.Cycle))
		}
		if b&eventAngle != 0 {
			w.V(uint64(uint32(e.Angle)))
		}
		last.cycle, last.angle = e.Cycle, e.Angle
	}
}

// ParseItem reads the next item of a step into it, and brings the memory up to
// date. It reports whether the item is well formed; if not, the memory is in
// disorder. Events keep no answer of an earlier step.
func (m *Memory) ParseItem(r *Reader, it *Item) bool {
	flags := r.U8()
	it.N, it.Only, it.Key = 0, flags&flagOnly != 0, flags&flagKey != 0
	if it.Only {
		if flags != flagOnly|flagEvents {
			return false
		}
		return m.parseEvents(r, it)
	}
	if it.Key {
		if flags&flagTick == 0 {
			return false
		}
		m.Reset()
	}
	m.parseHead(r, it, flags)
	if !m.parseChannels(r, it, flags) {
		return false
	}
	return flags&flagEvents == 0 || m.parseEvents(r, it)
}

func (m *Memory) parseHead(r *Reader, it *Item, flags uint8) {
	m.Tick++
	if flags&flagTick != 0 {
		m.Tick = r.U32()
	}
	it.Tick = m.Tick
	it.In.Periods = 1
	if flags&flagPeriods != 0 {
		it.In.Periods = uint16(r.V(16))
	}
	if flags&flagSwitches != 0 {
		m.On, m.Known = controller.SwitchSet(r.U16()), controller.SwitchSet(r.U16())
	}
	it.In.On, it.In.Known = m.On, m.Known
	if flags&flagAging != 0 {
		m.Aging = r.channels()
	}
}

// channels reads a set of channels; one that does not exist is malformed.
func (r *Reader) channels() controller.ChannelSet {
	s := r.V32()
	if s&^allChannels != 0 {
		r.Fail()
		return 0
	}
	return controller.ChannelSet(s)
}

func (m *Memory) parseChannels(r *Reader, it *Item, flags uint8) bool {
	fresh := r.channels()
	for s := fresh; s != 0; s &= s - 1 {
		x := &m.Samples[bits.TrailingZeros32(uint32(s))]
		x.Value, x.Age, x.Good = r.Z(x.Value), 0, true
	}
	var odd controller.ChannelSet
	if flags&flagOdd != 0 {
		odd = r.channels()
	}
	if odd&fresh != 0 {
		return false
	}
	for s := odd; s != 0; s &= s - 1 {
		x := &m.Samples[bits.TrailingZeros32(uint32(s))]
		x.Value = r.Z(x.Value)
		age := r.V(17)
		x.Age, x.Good = uint16(age>>1), age&1 != 0
	}
	for s := m.Aging &^ (fresh | odd); s != 0; s &= s - 1 {
		x := &m.Samples[bits.TrailingZeros32(uint32(s))]
		x.Age = older(x.Age)
	}
	it.In.Channels = m.Samples
	return r.OK()
}

func (m *Memory) parseEvents(r *Reader, it *Item) bool {
	n := int(r.U8())
	if n == 0 || n > MaxEvents {
		return false
	}
	for i := range it.Events[:n] {
		if !m.parseEvent(r, &it.Events[i]) {
			return false
		}
	}
	it.N = n
	return r.OK()
}

func (m *Memory) parseEvent(r *Reader, e *Event) bool {
	b := r.U8()
	*e = Event{Cylinder: b & 15, Kind: Kind(b >> 4 & 1)}
	if b&0x80 != 0 || e.Cylinder < 1 || e.Cylinder > controller.MaxCylinders {
		return false
	}
	last := m.last(e.Cylinder, e.Kind)
	last.cycle++
	if b&eventCycle != 0 {
		last.cycle = controller.Cycle(r.U8())
	}
	if b&eventAngle != 0 {
		last.angle = int32(r.V(17))
	}
	e.Cycle, e.Angle = last.cycle, last.angle
	return last.angle < fullTurn
}
