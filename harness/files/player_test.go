package files

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// present is a set of values for conditions.
type present struct {
	switches [8]bool
	channels [8]int64
	lost     [8]bool
	moments  [8]bool
}

func (p *present) Switch(id int) bool           { return p.switches[id] }
func (p *present) Channel(id int) (int64, bool) { return p.channels[id], !p.lost[id] }
func (p *present) Moment(id int) bool           { return p.moments[id] }

const ms = 1000

func mustScript(t testing.TB, text string) *Script {
	t.Helper()
	s, findings := ParseScript("", text, testWords)
	require.Empty(t, findings, "%s", show(findings))
	return s
}

// playSwitch runs a script over n ticks of 1 ms and writes the ticks at which
// a switch changed: "on@5 off@9", "-" for not scripted.
func playSwitch(t testing.TB, text string, id, n int, change func(tick int, p *present)) string {
	p := NewPlayer(mustScript(t, text), nil)
	var now present
	var log []string
	last := "-"
	for k := range n {
		if change != nil {
			change(k, &now)
		}
		p.Tick(int64(k)*ms, &now)
		state := "-"
		if on, scripted := p.Switch(id); scripted && on {
			state = "on"
		} else if scripted {
			state = "off"
		}
		if state != last {
			log = append(log, fmt.Sprintf("%s@%d", state, k))
		}
		last = state
	}
	return strings.Join(log, " ")
}

func TestPlayerOnTime(t *testing.T) {
	for text, want := range map[string]string{
		"clutch on":                                        "on@0",
		"clutch on at 0.005 s":                             "on@5",
		"clutch on at 0.0051 s":                            "on@6", // the first tick that is not too early
		"clutch on from 5 ms to 9 ms":                      "on@5 -@9",
		"clutch on at 5 ms for 4 ms":                       "on@5 -@9",
		"clutch on at 5 ms for 4.5 ms":                     "on@5 -@10",
		"clutch on at 5 ms for 0.1 ms":                     "on@5 -@6",
		"clutch on from 5.1 ms to 5.9 ms":                  "", // between two ticks
		"clutch on at 5 ms; clutch off at 9 ms":            "on@5 off@9",
		"clutch off at 9 ms; clutch on at 5 ms":            "on@5 off@9", // order of writing does not matter
		"clutch off; clutch on from 5 ms to 9 ms":          "off@0 on@5 off@9",
		"clutch on at 5 ms; clutch off at 5 ms":            "off@5", // started together: the later phrase
		"clutch on from 5 ms to 20 ms; clutch off at 9 ms": "on@5 off@9",
	} {
		assert.Equal(t, want, playSwitch(t, text, 0, 30, nil), text)
	}
}

func TestPlayerOnCondition(t *testing.T) {
	pressure := func(k int, p *present) { p.channels[2] = int64(k) * 10000; p.lost[2] = k == 12 } // kPa = 10 x ms
	armed := func(k int, p *present) { p.switches[2] = k >= 4 && k < 8 || k >= 12 && k < 14 }
	release := func(k int, p *present) { p.moments[0] = k >= 7 }
	for _, c := range []struct {
		text, want string
		change     func(int, *present)
	}{
		{"clutch on when manifold pressure above 100 kPa", "on@11", pressure},
		{"clutch on when manifold pressure reaches 100 kPa", "on@10", pressure},
		{"clutch on when manifold pressure below 100 kPa", "on@0", pressure},
		{"clutch on 5 ms after manifold pressure reaches 100 kPa", "on@15", pressure},
		{"clutch on while manifold pressure above 105 kPa", "on@11 -@12 on@13", pressure}, // lost at 12: no test passes
		{"clutch on until manifold pressure above 105 kPa", "on@0 -@11", pressure},
		{"clutch on while arm on", "on@4 -@8 on@12 -@14", armed},
		{"clutch on when arm on", "on@4", armed},
		{"clutch on when arm on for 2 ms", "on@4 -@6", armed}, // once only
		{"clutch on when arm on until arm off", "on@4 -@8", armed},
		{"clutch on while arm off", "on@0 -@4 on@8 -@12 on@14", armed},
		{"clutch on; clutch off while arm on", "on@0 off@4 on@8 off@12 on@14", armed},
		{"clutch on at release", "on@7", release},
		{"clutch on 3 ms after release for 4 ms", "on@10 -@14", release},
		{"clutch on 3 ms after release until 12 ms", "on@10 -@12", release},
		{"clutch on when release and arm on", "", release},
	} {
		assert.Equal(t, c.want, playSwitch(t, c.text, 0, 20, c.change), c.text)
	}
}

func TestPlayerRamps(t *testing.T) {
	p := NewPlayer(mustScript(t, "throttle ramp 20 % to 100 % over 8 ms at 2 ms; throttle ramp to 0 % over 10 ms at 6 ms"), nil)
	now := present{}
	var got []int64
	for k := range 18 {
		p.Tick(int64(k)*ms, &now)
		if v, scripted := p.Channel(0); scripted {
			got = append(got, v)
		}
	}
	// From 20 % in steps of 10 %; at 6 ms it stood at 50 %, falling 5 % a step.
	assert.Equal(t, []int64{2000, 3000, 4000, 5000, 5000, 4500, 4000, 3500, 3000, 2500, 2000, 1500, 1000, 500, 0, 0}, got)
}

func TestRampFromPresentTakesTheMeasuredValue(t *testing.T) {
	p := NewPlayer(mustScript(t, "throttle ramp to 100 % over 10 ms"), nil)
	now := present{channels: [8]int64{5000}}
	p.Tick(0, &now)
	v, _ := p.Channel(0)
	assert.EqualValues(t, 5000, v)
	p.Tick(5*ms, &now)
	v, _ = p.Channel(0)
	assert.EqualValues(t, 7500, v)
	p.Reset(nil)
	now.lost[0] = true
	p.Tick(0, &now)
	v, _ = p.Channel(0)
	assert.EqualValues(t, 10000, v, "without a measured value the ramp starts at its end")
}

func TestScatterIsSeededAndBounded(t *testing.T) {
	s := mustScript(t, "clutch on at 1 s with scatter 0.05 s; arm on 0.01 s after release with scatter 0.05 s")
	starts := func(seed uint64) (clutch, arm int) {
		p := NewPlayer(s, rand.New(rand.NewPCG(seed, 1)))
		now := present{}
		for k := range 1200 {
			now.moments[0] = k >= 500
			p.Tick(int64(k)*ms, &now)
			if on, _ := p.Switch(0); on && clutch == 0 {
				clutch = k
			}
			if on, _ := p.Switch(2); on && arm == 0 {
				arm = k
			}
		}
		return clutch, arm
	}
	seen := map[int]bool{}
	for seed := range uint64(100) {
		clutch, arm := starts(seed)
		again, armAgain := starts(seed)
		require.Equal(t, [2]int{clutch, arm}, [2]int{again, armAgain})
		assert.True(t, clutch >= 950 && clutch <= 1050, "%d", clutch)
		assert.True(t, arm >= 500 && arm <= 560, "never before its condition: %d", arm)
		seen[clutch] = true
	}
	assert.Greater(t, len(seen), 40, "starts differ between seeds")
}

// playedSlowly says whether a script of time-bound switch phrases has a switch
// on at a time, straight from the rule in Action's comment.
func playedSlowly(s *Script, t Target, us int64) (on, scripted bool) {
	best := int64(-1)
	for _, a := range s.Actions {
		begin, end := a.Trigger.TimeUs, int64(1)<<60
		switch a.End.Kind {
		case For:
			end = begin + a.End.TimeUs
		case UntilTime:
			end = a.End.TimeUs
		}
		if a.Target == t && us >= begin && us < end && begin >= best {
			best, on, scripted = begin, a.On, true
		}
	}
	return on, scripted
}

func TestPlayerAgainstTheRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &Script{Vocabulary: testWords}
		for range rapid.IntRange(1, 6).Draw(t, "phrases") {
			a := Action{Target: Target{SwitchTarget, rapid.IntRange(0, 1).Draw(t, "id")}, On: rapid.Bool().Draw(t, "on")}
			a.Trigger.TimeUs = rapid.Int64Range(0, 20).Draw(t, "at") * 500
			a.End.Kind = rapid.SampledFrom([]EndKind{Never, For, UntilTime}).Draw(t, "end")
			a.End.TimeUs = rapid.Int64Range(1, 20).Draw(t, "length") * 500
			s.Actions = append(s.Actions, a)
		}
		p := NewPlayer(s, nil)
		now := present{}
		step := rapid.SampledFrom([]int64{500, 1000, 1700}).Draw(t, "step")
		for us := int64(0); us < 22*500; us += step {
			p.Tick(us, &now)
			for id := range 2 {
				on, scripted := p.Switch(id)
				wantOn, want := playedSlowly(s, Target{SwitchTarget, id}, us)
				if scripted != want || scripted && on != wantOn {
					t.Fatalf("%s\nswitch %d at %d us: %v %v, want %v %v", s, id, us, on, scripted, wantOn, want)
				}
			}
		}
	})
}

// Any script with any present values: values stay between the ends of the
// ramp, a replay gives the same, nothing panics.
func TestPlayerIsDeterministicAndBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := genScript(t)
		seed := rapid.Uint64().Draw(t, "seed")
		run := func() string {
			p := NewPlayer(s, rand.New(rand.NewPCG(seed, 2)))
			r := rand.New(rand.NewPCG(seed, 3))
			var out strings.Builder
			at := int64(0)
			for range 50 {
				var now present
				for i := range now.channels {
					now.channels[i] = r.Int64() >> (r.Uint64() % 64)
					now.switches[i], now.moments[i], now.lost[i] = r.Uint64()%2 == 0, r.Uint64()%2 == 0, r.Uint64()%8 == 0
				}
				at += r.Int64N(maxTimeUs / 40)
				p.Tick(at, &now)
				for _, o := range p.Outputs() {
					if o.Scripted && (o.Value < -1<<31 || o.Value > 1<<31-1) {
						t.Fatalf("value %d", o.Value)
					}
				}
				fmt.Fprintln(&out, p.Outputs())
			}
			return out.String()
		}
		if a, b := run(), run(); a != b {
			t.Fatal("two runs differ")
		}
	})
}

const busyScript = "clutch on at 1 ms; clutch off at 2 s; throttle ramp 20 % to 100 % over 3 s at 2 ms; arm on while engine speed above 3000 rpm; " +
	"trans-brake on 0.4 s after manifold pressure above 180 kPa; user switch 1 on at release for 2 s with scatter 0.05 s; throttle 0 % when road speed above 60 km/h"

func TestPlayerAllocatesNothing(t *testing.T) {
	p := NewPlayer(mustScript(t, busyScript), rand.New(rand.NewPCG(1, 2)))
	now := &present{}
	tick, scripted := int64(0), false
	n := testing.AllocsPerRun(1000, func() {
		tick++
		now.channels[1] = tick * 100
		now.moments[0] = tick > 500
		p.Tick(tick*ms, now)
		_, scripted = p.Switch(0)
	})
	assert.Zero(t, n)
	assert.True(t, scripted)
	assert.Zero(t, testing.AllocsPerRun(10, func() { p.Reset(nil) }))
}

func BenchmarkPlayerTick(b *testing.B) {
	p := NewPlayer(mustScript(b, busyScript), nil)
	now := &present{}
	b.ReportAllocs()
	for i := range b.N {
		p.Tick(int64(i)*ms, now)
	}
}
