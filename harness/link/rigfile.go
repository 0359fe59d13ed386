package link

import (
	"path/filepath"
	"time"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/link/wire"
)

// Rig is what a rig file says: where the rig is, and under what circumstances it
// may be driven.
type Rig struct {
	Name    string
	Notes   string
	Outputs Outputs
	Mode    wire.Mode
	Port    PortSpec
	Limits  Limits
	File    string // that it was read from
}

// PortSpec says how a rig is reached: by the identity of a USB serial port, by
// the path of any terminal, or as a program of its own.
type PortSpec struct {
	Wish    Identity
	Command []string
	Baud    int32
	Reset   Reset
	Settle  time.Duration // after opening and reset, before anything is said
}

// Outputs says what the rig's outputs drive.
type Outputs uint8

// What outputs may drive on a bench.
const (
	Disconnected Outputs = iota
	DummyLoads
)

// Reset says what opening the port does to the rig.
type Reset uint8

// The ways of resetting.
const (
	ResetNone Reset = iota
	ResetDTR
	ResetRTS
)

var outputWords = files.Words[Outputs]{
	files.Means("disconnected", Disconnected, "nothing is connected to coils, injectors and solenoids"),
	files.Means("dummy loads", DummyLoads, "lamps, resistors or a logic analyser; no engine"),
}

var modeWords = files.Words[wire.Mode]{
	files.Means("lockstep", wire.Lockstep, "simulated time waits for the rig: exact and repeatable"),
	files.Means("paced", wire.Paced, "ticks follow the wall clock; lateness is measured"),
}

var resetWords = files.Words[Reset]{
	files.Means("none", ResetNone, "opening the port leaves the rig as it is"),
	files.Means("dtr", ResetDTR, "a pulse on DTR resets it"),
	files.Means("rts", ResetRTS, "a pulse on RTS resets it"),
}

// RigKind is the file kind of rig files.
var RigKind = files.Kind[Rig]{
	Name: "rig", Format: "holdline-rig-1",
	Doc:    "A rig: a controller under test behind a serial link. Coils, injectors and solenoids are disconnected or replaced by dummy loads, bottles closed and vented.",
	Fields: rigFields,
}

func rigFields(b *files.Block, r *Rig) {
	files.Text(b, &r.Name, "name", files.Len(1, 60))
	files.Text(b, &r.Notes, "notes", files.Optional(), files.Doc("shown with results"))
	files.Enum(b, &r.Outputs, "outputs", outputWords, files.Doc("what the rig's outputs drive; without this statement no run starts"))
	files.Enum(b, &r.Mode, "mode", modeWords, files.Default("lockstep"))
	files.Table(b, "port", func(b *files.Block) { portFields(b, &r.Port) })
	files.Table(b, "limits", func(b *files.Block) { limitFields(b, &r.Limits) }, files.Optional(), files.Doc("time limits; the defaults suit most rigs"))
}

func portFields(b *files.Block, p *PortSpec) {
	w := &p.Wish
	files.Text(b, &w.Vendor, "vendor", files.Optional(), files.Len(4, 4), files.Doc("of the USB device, four hexadecimal digits, as holdline ports shows it"))
	files.Text(b, &w.Product, "product", files.Optional(), files.Len(4, 4))
	files.Text(b, &w.Serial, "serial", files.Optional(), files.Len(1, 80))
	files.Text(b, &w.Interface, "interface", files.Optional(), files.Len(2, 2), files.Doc("tells the ports of one device apart"))
	files.Text(b, &w.Place, "place", files.Optional(), files.Len(1, 40), files.Doc("bus and sockets, as 1-2.3; needed only where nothing else differs"))
	files.Text(b, &w.Path, "path", files.Optional(), files.Len(1, 200), files.Doc("of a port or pseudo-terminal, instead of an identity"))
	files.Texts(b, files.Slice(&p.Command), "command", files.Optional(), files.Len(1, 40),
		files.Doc("a program that is the rig on its standard streams, with its arguments; runs in the folder of this file"))
	files.Int(b, &p.Baud, "baud", files.Scale{}, files.Optional(), files.Range(300, 12_000_000), files.Doc("of a serial port"))
	files.Enum(b, &p.Reset, "reset", resetWords, files.Optional(), files.Doc("what opening the port should do to the rig; must be stated for a serial port"))
	files.Int(b, &p.Settle, "settle_ms", files.Scale{Unit: "ms", Mul: int64(time.Millisecond)}, files.Optional(), files.Range(0, 30_000),
		files.Doc("pause after opening, for a boot loader to finish"))
	if b.Decoding() {
		checkPort(b, p)
	}
}

func checkPort(b *files.Block, p *PortSpec) {
	identity := b.Given("vendor") || b.Given("product") || b.Given("serial") || b.Given("place") || b.Given("interface")
	if b.Given("command") {
		for _, key := range []string{"path", "baud", "reset", "vendor", "product", "serial", "interface", "place"} {
			if b.Given(key) {
				b.Fail(key, harness.Finding{Reason: "not used with command", Fix: "remove one of the two"})
			}
		}
		return
	}
	if b.Given("path") && identity {
		b.Fail("path", harness.Finding{Reason: "both a path and an identity", Fix: "keep the identity: paths change when a device is plugged in again"})
	}
	if !b.Given("reset") && b.Good("reset") {
		b.Fail("", harness.Finding{Reason: "reset is missing: what opening the port does to the rig is never guessed", Allowed: "none, dtr, rts"})
	}
	if !b.Given("baud") && b.Good("baud") {
		b.Fail("", harness.Finding{Reason: "baud is missing", Fix: "state the baud rate; native USB ports ignore it"})
	}
	if why := ttyRefused(p.Wish.Path); why != "" {
		b.Fail("path", harness.Finding{Reason: why, Fix: "use the cu. port of the same name"})
	}
}

func limitFields(b *files.Block, l *Limits) {
	seconds := files.Scale{Unit: "s", Mul: int64(time.Second)}
	millis := files.Scale{Unit: "ms", Mul: int64(time.Millisecond)}
	files.Int(b, &l.Open, "open_s", seconds, files.Default(10), files.Range(0.1, 120), files.Doc("from opening the port to the rig's first word"))
	files.Int(b, &l.Answer, "answer_ms", millis, files.Default(250), files.Range(1, 10_000), files.Doc("to a step, before it is repeated"))
	files.Int(b, &l.Retries, "retries", files.Scale{}, files.Default(8), files.Range(1, 100), files.Doc("of one step"))
	files.Int(b, &l.Recover, "recover_s", seconds, files.Default(10), files.Range(0.1, 120), files.Doc("for a lost port to come back"))
}

// LoadRig reads a rig file. It returns everything that is wrong with it at once;
// the rig is nil if any of that is an error.
func LoadRig(path string) (*Rig, harness.Findings) {
	r, doc, findings := RigKind.Read(path)
	if findings.Failed() {
		return nil, findings
	}
	r.File = doc.File
	return r, findings
}

// Dialer opens the rig's port.
func (r *Rig) Dialer() Dialer {
	if len(r.Port.Command) > 0 {
		return &program{argv: r.Port.Command, dir: filepath.Dir(r.File), settle: r.Port.Settle}
	}
	return &serialPort{spec: r.Port, ports: Ports}
}

// Unit is the rig as a unit of the bench. Mode and limits are the file's, unless
// o states its own limits.
func (r *Rig) Unit(o Options) *Unit {
	o.Mode = r.Mode
	if o.Limits == (Limits{}) {
		o.Limits = r.Limits
	}
	return NewUnit(r.Dialer(), o)
}
