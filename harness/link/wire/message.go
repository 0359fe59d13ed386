package wire

import (
	"github.com/holdline/holdline/controller"
)

// Type is the first byte of a body.
type Type uint8

// The message types.
const (
	Probe    Type = 0x01
	HelloMsg Type = 0x81
	StartMsg Type = 0x02
	Started  Type = 0x82
	Step     Type = 0x03
	Answer   Type = 0x83
	Off      Type = 0x05
	Bye      Type = 0x06
	Done     Type = 0x85
	Echo     Type = 0x07
	Echoed   Type = 0x87
	Load     Type = 0x08
	Loaded   Type = 0x88
	Report   Type = 0x8f
)

// InSession reports whether a type is checked under the nonce of a session.
func (t Type) InSession() bool {
	switch t {
	case Step, Answer, Off, Bye, Done:
		return true
	}
	return false
}

// Features is the set of flags in a hello.
type Features uint16

// The features.
const (
	ReportsOutputs Features = 1 << iota // else it answers commits only
	TakesImages                         // of calibrations, by Load
	OwnCalibration                      // the checksum in a start is not for it
	IsReference
	TakesLockstep
	TakesPaced
)

// MaxText is the longest name or version text.
const MaxText = 24

// Text is a short ASCII text.
type Text struct {
	B [MaxText]byte
	N uint8
}

// TextOf cuts s to the capacity of a Text.
func TextOf(s string) (t Text) {
	t.N = uint8(copy(t.B[:], s))
	return t
}

// String gives the text; it allocates, and is for the bench.
func (t *Text) String() string { return string(t.B[:min(int(t.N), MaxText)]) }

func (t *Text) put(w *Writer) {
	w.U8(t.N)
	w.Put(t.B[:t.N])
}

func (t *Text) get(r *Reader) {
	n := r.U8()
	if n > MaxText {
		r.Fail()
		return
	}
	t.N = uint8(copy(t.B[:], r.Take(int(n))))
	for _, b := range t.B[:t.N] {
		if b < ' ' || b > '~' {
			r.Fail()
		}
	}
}

// Hello is what a rig says of itself.
type Hello struct {
	Lowest, Highest uint8 // protocol versions
	Features        Features
	Token           uint32 // changes with every session and reset
	Nonce           uint32 // of the session in progress, or 0
	Channels        controller.ChannelSet
	Switches        controller.SwitchSet
	Cylinders       uint8  // most
	Events          uint8  // most in a step
	Items           uint8  // most in a step
	Window          uint8  // answers kept
	Frame           uint16 // longest frame taken, stuffed, with its delimiter
	Buffer          uint16 // receive buffer in bytes: the credit
	Shortest        controller.Duration
	Clock           uint32 // Hz
	Calibration     uint32 // checksum of the image it holds, or 0
	Name, Version   Text
}

// Append writes the message.
func (h *Hello) Append(w *Writer) {
	w.U8(h.Lowest)
	w.U8(h.Highest)
	w.U16(uint16(h.Features))
	w.U32(h.Token)
	w.U32(h.Nonce)
	w.U32(uint32(h.Channels))
	w.U32(uint32(h.Switches))
	w.U8(h.Cylinders)
	w.U8(h.Events)
	w.U8(h.Items)
	w.U8(h.Window)
	w.U16(h.Frame)
	w.U16(h.Buffer)
	w.U32(uint32(h.Shortest))
	w.U32(h.Clock)
	w.U32(h.Calibration)
	h.Name.put(w)
	h.Version.put(w)
}

// Parse reads the message behind its type, and reports whether it is well
// formed and makes sense.
func (h *Hello) Parse(r *Reader) bool {
	h.Lowest, h.Highest = r.U8(), r.U8()
	h.Features = Features(r.U16())
	h.Token, h.Nonce = r.U32(), r.U32()
	h.Channels, h.Switches = controller.ChannelSet(r.U32()), controller.SwitchSet(r.U32())
	h.Cylinders, h.Events, h.Items, h.Window = r.U8(), r.U8(), r.U8(), r.U8()
	h.Frame, h.Buffer = r.U16(), r.U16()
	h.Shortest = controller.Duration(r.U32())
	h.Clock, h.Calibration = r.U32(), r.U32()
	h.Name.get(r)
	h.Version.get(r)
	return r.Done() && h.Lowest <= h.Highest && h.Events > 0 && h.Items > 0 && h.Window > 0 &&
		h.Frame >= MinFrame && h.Buffer >= h.Frame && h.Shortest >= 0
}

// Mode says what moves time.
type Mode uint8

// The modes.
const (
	Lockstep Mode = iota // simulated time waits for the rig
	Paced                // wall clock
)

// Start asks for a session.
type Start struct {
	Nonce       uint32 // not 0
	Token       uint32
	Version     uint8
	Mode        Mode
	Period      controller.Duration
	Calibration uint32 // checksum expected
	Cylinders   uint8
	Order       [controller.MaxCylinders]uint8
	Intervals   [controller.MaxCylinders]controller.Angle // sum 72000
}

// Append writes the message.
func (s *Start) Append(w *Writer) {
	w.U32(s.Nonce)
	w.U32(s.Token)
	w.U8(s.Version)
	w.U8(uint8(s.Mode))
	w.U32(uint32(s.Period))
	w.U32(s.Calibration)
	n := min(s.Cylinders, controller.MaxCylinders)
	w.U8(n)
	w.Put(s.Order[:n])
	for _, a := range s.Intervals[:n] {
		w.U16(uint16(a))
	}
}

// Parse reads the message behind its type, and reports whether it is well
// formed. One with more cylinders than a controller can have is well formed
// and keeps their number; the order is then left out.
func (s *Start) Parse(r *Reader) bool {
	*s = Start{Nonce: r.U32(), Token: r.U32(), Version: r.U8(), Mode: Mode(r.U8())}
	s.Period = controller.Duration(r.U32())
	s.Calibration, s.Cylinders = r.U32(), r.U8()
	if s.Cylinders > controller.MaxCylinders {
		r.Take(3 * int(s.Cylinders))
		return r.Done() && s.Nonce != 0 && s.Nonce != NoSession
	}
	copy(s.Order[:], r.Take(int(s.Cylinders)))
	for i := range s.Intervals[:s.Cylinders] {
		s.Intervals[i] = controller.Angle(r.U16())
	}
	return r.Done() && s.Nonce != 0 && s.Nonce != NoSession
}

// orderly reports whether order and intervals make sense.
func (s *Start) orderly() bool {
	var seen uint16
	sum := controller.Angle(0)
	for i := range s.Order[:s.Cylinders] {
		c := s.Order[i]
		if c < 1 || c > s.Cylinders || seen>>c&1 != 0 || s.Intervals[i] <= 0 {
			return false
		}
		seen |= 1 << c
		sum += s.Intervals[i]
	}
	return sum == 720*controller.Degree || s.Cylinders == 1 && sum == 0
}

// Refusal says why a session does not fit; 0 is none.
type Refusal uint8

// The refusals, with what the detail holds.
const (
	Fits              Refusal = iota
	RefuseVersion             // highest
	RefuseMode                // the mode asked for
	RefusePeriod              // shortest, us
	RefuseCylinders           // most
	RefuseOrder               // nothing
	RefuseCalibration         // checksum held
	RefuseToken               // the right one
	RefuseOutputs             // nothing
	RefuseOther               // the rig's own number
)

// ReportCode says what a report is about.
type ReportCode uint8

// The report codes.
const (
	ReportSequence  ReportCode = 1
	ReportMalformed ReportCode = 2
	ReportOverrun   ReportCode = 3
	ReportFailed    ReportCode = 5 // the controller will not go on
	ReportDamaged   ReportCode = 6
)

// LoadCode answers a piece of a calibration image.
type LoadCode uint8

// The load codes.
const (
	LoadMore LoadCode = iota
	LoadComplete
	LoadRefused
)

// ReportBody is a rig's report.
type ReportBody struct {
	Nonce  uint32
	Code   ReportCode
	Seq    uint16
	Detail uint32
}

// Append writes the message, without text.
func (b *ReportBody) Append(w *Writer) {
	w.U32(b.Nonce)
	w.U8(uint8(b.Code))
	w.U16(b.Seq)
	w.U32(b.Detail)
}

// Parse reads the message behind its type; its text, if any, is left in r.
func (b *ReportBody) Parse(r *Reader) bool {
	b.Nonce, b.Code, b.Seq, b.Detail = r.U32(), ReportCode(r.U8()), r.U16(), r.U32()
	return r.OK() && r.Left() <= 40
}
