package wire

import (
	"encoding/binary"

	"github.com/holdline/holdline/controller"
)

// Handler is what a rig does: its controller, its outputs, its clock and the
// way out for bytes.
type Handler interface {
	// Begin resets the controller for a session; outputs are off already.
	Begin(*Start) (why Refusal, detail uint32)
	// Tick runs one tick. out is zero when called, and may stay so in a rig that
	// answers commits only.
	Tick(tick uint32, in *controller.Input, out *controller.Output)
	// Commit decides an event.
	Commit(*Event)
	// Off drops all outputs at once; the next Tick or Commit takes them back.
	Off()
	// Image takes a complete calibration image, and reports its checksum; 0 if it
	// is refused.
	Image([]byte) (checksum uint32)
	// Micros is the rig's own clock, wrapping.
	Micros() uint32
	// Write sends bytes, waiting until they are on their way.
	Write([]byte)
}

// Times of a rig, in microseconds of its own clock.
const (
	HelloEvery = 250_000 // while idle
	OffAfter   = 85_000  // of silence: outputs are off within 100 ms
)

// MaxWindow is how many answers this implementation keeps.
const MaxWindow = 4

// Rig is the rig's side of a link. Set Hello and Handler, then call Receive
// with what comes in and Poll at least every 10 ms.
//
//	idle -> start -> session -> step, step, ... -> bye -> idle
type Rig struct {
	Hello   Hello // Nonce, Token and Calibration are kept up to date
	Handler Handler
	Store   []byte // for calibration images, if it takes them

	in  Deframer
	out Frame
	r   Reader

	nonce     uint32 // of the session; 0: idle
	ended     uint32 // nonce of the session before, whose bye may be repeated
	lastGood  uint32
	lastHello uint32
	greeted   bool
	dropped   bool // outputs are off for silence
	wasSilent bool // to be told with the next answer

	expected uint16
	answered int // in all, up to MaxWindow
	kept     [MaxWindow]keptAnswer

	mem, check Memory
	regs       Registers
	item       Item
	ticked     controller.Output
	asked      Start

	imageNext, imageTotal uint16
}

type keptAnswer struct {
	seq  uint16
	n    int
	wire [MaxFrame]byte
}

// InSession reports whether a session is in progress.
func (g *Rig) InSession() bool { return g.nonce != 0 }

// Silence gives the microseconds since the last whole message of a session, by
// the rig's own clock.
func (g *Rig) Silence() uint32 { return g.Handler.Micros() - g.lastGood }

// Poll does what time asks for: a hello while idle, outputs off after silence.
func (g *Rig) Poll() {
	now := g.Handler.Micros()
	if g.nonce != 0 {
		if !g.dropped && now-g.lastGood >= OffAfter {
			g.Handler.Off()
			g.dropped, g.wasSilent = true, true
		}
		return
	}
	if !g.greeted || now-g.lastHello >= HelloEvery {
		g.hello()
	}
}

// Receive takes bytes as they come.
func (g *Rig) Receive(p []byte) {
	for _, b := range p {
		if g.in.Feed(b) {
			g.frame(g.in.Data())
		}
	}
}

func (g *Rig) hello() {
	g.greeted, g.lastHello = true, g.Handler.Micros()
	g.Hello.Nonce = g.nonce
	g.Hello.Append(g.out.Begin(HelloMsg))
	g.Handler.Write(g.out.Seal(0, true))
}

func (g *Rig) frame(data []byte) {
	nonce := g.nonce
	if nonce == 0 {
		nonce = g.ended
	}
	body, ok := Body(data, nonce)
	if !ok {
		if g.nonce != 0 && len(data) > crcSize {
			g.report(ReportDamaged)
		}
		return
	}
	g.r.Reset(body)
	t := Type(g.r.U8())
	if t.InSession() {
		g.lastGood = g.Handler.Micros()
	}
	switch t {
	case Probe:
		if g.r.Done() {
			g.hello()
		}
	case Echo:
		g.out.Begin(Echoed).Put(g.r.Rest())
		g.Handler.Write(g.out.Seal(0, false))
	case Load:
		if g.nonce == 0 && g.Store != nil {
			g.load()
		}
	case StartMsg:
		g.start()
	case Step:
		if g.nonce != 0 {
			g.step(body)
		}
	case Off, Bye:
		g.off(t)
	}
}

func (g *Rig) report(code ReportCode) {
	b := ReportBody{Nonce: g.nonce, Code: code, Seq: g.expected}
	b.Append(g.out.Begin(Report))
	g.Handler.Write(g.out.Seal(0, true))
}

func (g *Rig) start() {
	s := &g.asked
	if !s.Parse(&g.r) {
		g.report(ReportMalformed)
		return
	}
	if g.nonce != 0 && s.Nonce == g.nonce {
		g.started(s.Nonce, Fits, 0)
		return
	}
	why, detail := g.judge(s)
	if why == Fits {
		g.Handler.Off()
		g.nonce, g.ended = 0, 0
		why, detail = g.Handler.Begin(s)
	}
	if why == Fits {
		g.begin(s.Nonce)
	}
	g.started(s.Nonce, why, detail)
}

// judge holds a start against the hello.
func (g *Rig) judge(s *Start) (Refusal, uint32) {
	h := &g.Hello
	mode := TakesLockstep
	if s.Mode == Paced {
		mode = TakesPaced
	}
	switch {
	case s.Token != h.Token:
		return RefuseToken, h.Token
	case s.Version < h.Lowest || s.Version > h.Highest:
		return RefuseVersion, uint32(h.Highest)
	case s.Mode > Paced || h.Features&mode == 0:
		return RefuseMode, uint32(s.Mode)
	case s.Period < h.Shortest || s.Period <= 0:
		return RefusePeriod, uint32(h.Shortest)
	case s.Cylinders > h.Cylinders || s.Cylinders > controller.MaxCylinders || s.Cylinders == 0:
		return RefuseCylinders, uint32(h.Cylinders)
	case !s.orderly():
		return RefuseOrder, 0
	case h.Features&OwnCalibration == 0 && s.Calibration != h.Calibration:
		return RefuseCalibration, h.Calibration
	}
	return Fits, 0
}

func (g *Rig) begin(nonce uint32) {
	g.nonce = nonce
	g.Hello.Token = g.Hello.Token*1664525 + 1013904223
	g.expected, g.answered = 1, 0
	g.mem.Reset()
	g.regs.Reset()
	g.lastGood = g.Handler.Micros()
	g.dropped, g.wasSilent = false, false
}

func (g *Rig) started(nonce uint32, why Refusal, detail uint32) {
	w := g.out.Begin(Started)
	w.U32(nonce)
	w.U8(uint8(why))
	w.U32(detail)
	g.Handler.Write(g.out.Seal(0, false))
}

func (g *Rig) off(t Type) {
	if !g.r.Done() {
		return
	}
	g.Handler.Off()
	nonce := g.nonce
	if nonce == 0 {
		nonce = g.ended
	}
	if t == Bye && g.nonce != 0 {
		g.ended, g.nonce = g.nonce, 0
		g.greeted, g.lastHello = true, g.Handler.Micros()
	}
	g.out.Begin(Done).U8(uint8(t))
	g.Handler.Write(g.out.Seal(nonce, false))
}

// step answers a step: a new one by work, an old one from memory.
func (g *Rig) step(body []byte) {
	begun := g.Handler.Micros()
	seq := g.r.U16()
	if seq != g.expected {
		g.again(seq)
		return
	}
	if !g.wellFormed() {
		g.report(ReportMalformed)
		return
	}
	g.r.Reset(body[3:])
	g.dropped = false
	w := g.out.Begin(Answer)
	w.U16(seq)
	flags := HasTurnaround
	if g.wasSilent {
		flags |= WasSilent
	}
	w.U8(uint8(flags))
	at := w.Len()
	w.U16(0)
	for g.r.Left() > 0 {
		g.mem.ParseItem(&g.r, &g.item)
		g.work(w)
	}
	took := min(g.Handler.Micros()-begun, 0xffff)
	binary.LittleEndian.PutUint16(g.out.Body[at:], uint16(took))
	g.wasSilent = false
	g.keep(seq)
}

// wellFormed reads a step without doing anything, so that a malformed one moves
// nothing, and the answer has room.
func (g *Rig) wellFormed() bool {
	g.check = g.mem
	room := 6
	items, events := 0, 0
	for g.r.Left() > 0 {
		if !g.check.ParseItem(&g.r, &g.item) {
			return false
		}
		items++
		events += g.item.N
		room += AnswerRoom(g.outputs(), g.item.N)
	}
	return items > 0 && g.r.Done() && items <= int(g.Hello.Items) && events <= int(g.Hello.Events) && room <= MaxBody
}

func (g *Rig) outputs() bool { return g.Hello.Features&ReportsOutputs != 0 }

// work runs an item and writes its answer.
func (g *Rig) work(w *Writer) {
	it := &g.item
	if it.Key {
		g.regs.Reset()
	}
	if !it.Only {
		g.tick(w)
	}
	for i := range it.Events[:it.N] {
		e := &it.Events[i]
		g.Handler.Commit(e)
		g.regs.AppendDecision(w, e)
	}
}

func (g *Rig) tick(w *Writer) {
	g.ticked = controller.Output{}
	g.Handler.Tick(g.item.Tick, &g.item.In, &g.ticked)
	if g.outputs() {
		g.regs.AppendOutput(w, &g.ticked)
	}
}

func (g *Rig) keep(seq uint16) {
	p := g.out.Seal(g.nonce, false)
	k := &g.kept[seq%MaxWindow]
	k.seq, k.n = seq, copy(k.wire[:], p)
	g.expected = seq + 1
	g.answered = min(g.answered+1, MaxWindow)
	g.Handler.Write(p)
}

// again sends a kept answer, or says which step is expected.
func (g *Rig) again(seq uint16) {
	back := int(g.expected - 1 - seq)
	if back >= g.answered || back >= int(g.Hello.Window) {
		g.report(ReportSequence)
		return
	}
	k := &g.kept[seq%MaxWindow]
	g.Handler.Write(lead[:])
	g.Handler.Write(k.wire[:k.n])
}

var lead [1]byte

// load stores a piece of a calibration image.
func (g *Rig) load() {
	total, offset := g.r.U16(), g.r.U16()
	piece := g.r.Rest()
	if !g.r.OK() || int(total) > len(g.Store) || total == 0 || len(piece) == 0 {
		g.loaded(LoadRefused, 0)
		return
	}
	if offset == 0 {
		g.imageNext, g.imageTotal = 0, total
	}
	if total != g.imageTotal || int(offset)+len(piece) > int(total) {
		g.loaded(LoadRefused, 1)
		return
	}
	if offset == g.imageNext {
		copy(g.Store[offset:], piece)
		g.imageNext += uint16(len(piece))
		if g.imageNext == total {
			g.Hello.Calibration = g.Handler.Image(g.Store[:total])
		}
	}
	switch {
	case g.imageNext < total:
		g.loaded(LoadMore, 0)
	case g.Hello.Calibration == 0:
		g.loaded(LoadRefused, 2)
	default:
		g.loaded(LoadComplete, g.Hello.Calibration)
	}
}

func (g *Rig) loaded(code LoadCode, detail uint32) {
	w := g.out.Begin(Loaded)
	w.U16(g.imageNext)
	w.U8(uint8(code))
	w.U32(detail)
	g.Handler.Write(g.out.Seal(0, false))
}
