package wire

import (
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/holdline/holdline/controller"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the examples in WIRE.md")

const exampleNonce = 0x12345678

// sample is one line of the examples.
type sample struct {
	from string // host or rig
	what string
	wire []byte
}

// exchange plays the examples of WIRE.md.
type exchange struct {
	t    *testing.T
	rig  *plainRig
	out  Frame
	mem  Memory
	rows []sample
}

func (x *exchange) say(from, what string, wire []byte) {
	require.NotEmpty(x.t, wire, what)
	x.rows = append(x.rows, sample{from, what, append([]byte(nil), wire...)})
}

// ask sends a frame of the host to the rig and notes what comes back.
func (x *exchange) ask(what string, frame []byte, answer string) {
	x.say("host", what, frame)
	x.rig.Receive(frame)
	x.say("rig", answer, x.rig.take())
}

func (x *exchange) item(it *Item) { x.mem.AppendItem(&x.out.W, it) }

func (x *exchange) step(seq uint16, items ...*Item) []byte {
	x.out.Begin(Step).U16(seq)
	for _, it := range items {
		x.item(it)
	}
	return x.out.Seal(exampleNonce, false)
}

func exampleStart() *Start {
	s := &Start{Nonce: exampleNonce, Token: 0x01020304, Version: 1, Period: 1000, Cylinders: 4}
	copy(s.Order[:], []uint8{1, 3, 4, 2})
	copy(s.Intervals[:], []controller.Angle{18000, 18000, 18000, 18000})
	return s
}

func play(t *testing.T) []sample {
	x := &exchange{t: t, rig: newPlainRig()}
	x.rig.Poll()
	x.say("rig", "hello, unasked after reset", x.rig.take())
	x.out.Begin(Probe)
	x.ask("probe", x.out.Seal(0, true), "hello")
	x.out.Begin(Echo).Put([]byte{0, 1, 2, 0})
	x.ask("echo of 00 01 02 00", x.out.Seal(0, false), "echoed")
	s := exampleStart()
	s.Token = 7
	s.Append(x.out.Begin(StartMsg))
	x.ask("start with token 7", x.out.Seal(0, false), "started: refused, token, detail 01020304")
	s = exampleStart()
	s.Append(x.out.Begin(StartMsg))
	x.ask("start: 1 ms lockstep, 1-3-4-2 evenly, token 01020304", x.out.Seal(0, false), "started: fits")

	one := &Item{Key: true}
	one.In.Set(controller.EngineSpeed, 49800)
	one.In.Set(controller.Throttle, 10000)
	one.In.Put(controller.ClutchDown, true)
	one.Events[0] = Event{Cylinder: 3, Kind: Fuel, Cycle: 1, Angle: 4000}
	one.N = 1
	x.ask("step 1: key, tick 0, 4980 rpm, throttle 100 %, clutch down, fuel of cylinder 3 cycle 1 at 40.00 degrees",
		x.step(1, one), "answer 1: given, multiplier 1.0000")

	two := *one
	two.Key, two.Tick = false, 1
	two.In.Set(controller.EngineSpeed, 50010)
	two.Events[0] = Event{Cylinder: 3, Kind: Spark, Cycle: 1, Angle: 10000}
	two.Events[1] = Event{Cylinder: 4, Kind: Fuel, Cycle: 1, Angle: 22000}
	two.N = 2
	frame := append([]byte(nil), x.step(2, &two)...)
	x.ask("step 2: tick 1, 5001 rpm, spark of cylinder 3 cycle 1 at 100.00, fuel of cylinder 4 cycle 1 at 220.00", frame,
		"answer 2: fired at 10.00 degrees, withheld")
	x.ask("step 2 again", append([]byte{0}, frame...), "answer 2 again")

	three := two
	three.Tick, three.N = 2, 0
	three.In.Channels[controller.Throttle].Age = 1
	four := three
	four.Only, four.N = true, 1
	four.Events[0] = Event{Cylinder: 4, Kind: Spark, Cycle: 1, Angle: 28000}
	x.ask("step 3: two items: tick 2, nothing but an older throttle; then between ticks, spark of cylinder 4 cycle 1 at 280.00",
		x.step(3, &three, &four), "answer 3: nothing; withheld, at 10.00 degrees")
	x.out.Begin(Step).U16(9)
	x.out.W.Put([]byte{0, 0})
	x.ask("step 9, out of sequence", x.out.Seal(exampleNonce, false), "report 1: expected 4")
	x.out.Begin(Off)
	x.ask("off", x.out.Seal(exampleNonce, false), "done: off")
	x.out.Begin(Bye)
	x.ask("bye", x.out.Seal(exampleNonce, false), "done: bye")

	x.out.Begin(Answer).U16(1)
	x.out.W.U8(0)
	var g Registers
	g.AppendOutput(&x.out.W, &controller.Output{Sequence: controller.Held, Ceiling: 50000, Target: 50000, Timing: 1000, Mixture: 10000})
	g.AppendDecision(&x.out.W, &Event{Kind: Spark, Give: true, Why: controller.WhyGiven, Value: 1000})
	x.say("rig", "an answer 1 that reports outputs: timing 10.00 degrees, ceiling and target 5000 rpm, mixture 1.0000, held; then a spark fired at 10.00",
		x.out.Seal(exampleNonce, false))
	return x.rows
}

func render(rows []sample) string {
	var b strings.Builder
	for _, r := range rows {
		arrow := map[string]string{"host": "->", "rig": "<-"}[r.from]
		fmt.Fprintf(&b, "    %s %s\n", arrow, r.what)
		text := hex.EncodeToString(r.wire)
		for len(text) > 0 {
			n := min(len(text), 64)
			b.WriteString("       ")
			for i := 0; i < n; i += 2 {
				b.WriteString(" " + text[i:i+2])
			}
			b.WriteString("\n")
			text = text[n:]
		}
	}
	return b.String()
}

const (
	examplesFrom = "## 7. Examples\n"
	examplesTo   = "## 8. History\n"
)

// readExamples takes the samples out of WIRE.md.
func readExamples(t *testing.T) (head, tail string, rows []sample) {
	raw, err := os.ReadFile("WIRE.md")
	require.NoError(t, err)
	head, rest, ok := strings.Cut(string(raw), examplesFrom)
	require.True(t, ok)
	body, tail, ok := strings.Cut(rest, examplesTo)
	require.True(t, ok)
	prose, _, _ := strings.Cut(body, "    ->")
	prose, _, _ = strings.Cut(prose, "    <-")
	for line := range strings.Lines(body) {
		line = strings.TrimSpace(line)
		switch {
		case strings.HasPrefix(line, "->"):
			rows = append(rows, sample{from: "host", what: strings.TrimSpace(line[2:])})
		case strings.HasPrefix(line, "<-"):
			rows = append(rows, sample{from: "rig", what: strings.TrimSpace(line[2:])})
		case len(rows) > 0 && line != "":
			b, err := hex.DecodeString(strings.ReplaceAll(line, " ", ""))
			require.NoError(t, err, line)
			rows[len(rows)-1].wire = append(rows[len(rows)-1].wire, b...)
		}
	}
	return head + examplesFrom + prose, examplesTo + tail, rows
}

// The examples of the page are what the code sends, byte for byte.
func TestExamplesOfThePage(t *testing.T) {
	want := play(t)
	head, tail, got := readExamples(t)
	if *update {
		require.NoError(t, os.WriteFile("WIRE.md", []byte(head+render(want)+"\n"+tail), 0o644))
		return
	}
	require.Equal(t, want, got)
}

// The page's bytes of the host, given to a rig, bring the page's bytes of the
// rig.
func TestThePageDrivesARig(t *testing.T) {
	_, _, rows := readExamples(t)
	rig := newPlainRig()
	rig.Poll()
	rig.Receive([]byte("Boot 1.0 ok\r\n")) // a banner heard by the rig changes nothing
	for _, r := range rows[:len(rows)-1] {
		if r.from == "host" {
			rig.Receive(r.wire)
			continue
		}
		require.Equal(t, r.wire, rig.take(), r.what)
	}
}
