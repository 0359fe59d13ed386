package proving_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/faults"
	stl "github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/require/proving"
)

// The reference holds the standard sets with every kind of fault on the inputs
// that a launch hangs on, in the hold and after release. What is judged is what
// the unit was given.
func TestReferenceHoldsUnderFaults(t *testing.T) {
	cal := proving.Car()
	c := court(t, cal)
	script := proving.Scripts(proving.Varied(0))[0]
	times := [2]controller.Duration{3500 * controller.Millisecond, 5200 * controller.Millisecond}
	for i, k := range faults.Kinds() {
		for j, f := range faultsOf(k) {
			f.From, f.For, f.Time = times[(i+j)%2], 300*controller.Millisecond, 20*controller.Millisecond
			tr := harness.NewTrace(cal)
			stim, unit, err := faults.Wrap(proving.NewDrive(cal, script, 1), &harness.Reference{}, cal, uint64(i), []faults.Fault{f})
			require.NoError(t, err)
			_, err = harness.Run(t.Context(), stim, unit, harness.Session{Calibration: cal}, tr)
			require.NoError(t, err)
			res, err := c.Judge(tr, true)
			require.NoError(t, err)
			for _, r := range res {
				assert.Equalf(t, harness.VerdictHolds, r.Verdict, "%s: %s: margin %g %s at %.3f s: %s", f, r.ID, r.Margin, r.Unit, r.ClosestAt, r.Condition)
			}
		}
	}
}

// faultsOf lists the faults of a kind that the reference must stand. Where the
// controller itself is at fault it cannot hold what it has forgotten.
func faultsOf(k faults.Kind) (list []faults.Fault) {
	switch {
	case k >= faults.Restart && k != faults.SkippedTicks && k != faults.RepeatedCommits:
		return nil
	case k >= faults.Restart:
		return []faults.Fault{{Kind: k, Amount: 2000}}
	case k == faults.SupplyDip:
		return []faults.Fault{{Kind: k, Channel: controller.SupplyVoltage, Amount: 9000}}
	case k >= faults.SwitchOn:
		return []faults.Fault{{Kind: k, Switch: controller.TransBrake}, {Kind: k, Switch: controller.Arm}}
	}
	for _, ch := range []controller.Channel{controller.EngineSpeed, controller.Throttle, controller.ManifoldPressure, controller.BottlePressure} {
		list = append(list, faults.Fault{Kind: k, Channel: ch, Other: controller.FuelPressure, Amount: 3000})
	}
	return list
}

// After a restart in the middle of a run with the arm switch on, added power stays
// closed until the switch has been off (design A1), whatever the driver does.
func TestRestartDisarms(t *testing.T) {
	cal := proving.Car()
	script := proving.Scripts(proving.Varied(0))[0]
	for _, k := range []faults.Kind{faults.Restart, faults.PowerOff} {
		tr := harness.NewTrace(cal)
		f := faults.Fault{Kind: k, From: 3500 * controller.Millisecond, For: 100 * controller.Millisecond}
		stim, unit, err := faults.Wrap(proving.NewDrive(cal, script, 1), &harness.Reference{}, cal, 1, []faults.Fault{f})
		require.NoError(t, err)
		_, err = harness.Run(t.Context(), stim, unit, harness.Session{Calibration: cal}, tr)
		require.NoError(t, err)
		opened := false
		for _, x := range tr.Column("shot-1-phase").Data[:3500] {
			opened = opened || x == int32(controller.ShotOpen)
		}
		require.True(t, opened, "before the restart a shot was open")
		for _, name := range []string{"shot-1-duty", "shot-2-duty", "master-valve"} {
			for i, x := range tr.Column(name).Data[3500:] {
				require.Zero(t, x, "%s: %s %d ms after the restart", k, name, i)
			}
		}
	}
}

// A restart between the fuel and the spark commit of a cycle forgets the pair:
// the spark fires, and no requirement on cuts takes that for a split.
func TestRestartInACutSplitsNothing(t *testing.T) {
	cal := proving.Car()
	reqs, err := stl.Include(cal, "standard/cuts")
	require.NoError(t, err)
	c, err := stl.NewCourt(cal, reqs)
	require.NoError(t, err)
	script := proving.Scripts(proving.Varied(0))[1] // steady
	forgotten := 0
	for ms := range controller.Duration(24) {
		tr := harness.NewTrace(cal)
		f := faults.Fault{Kind: faults.Restart, From: (3300 + 7*ms) * controller.Millisecond}
		stim, unit, err := faults.Wrap(proving.NewDrive(cal, script, 1), &harness.Reference{}, cal, 1, []faults.Fault{f})
		require.NoError(t, err)
		_, err = harness.Run(t.Context(), stim, unit, harness.Session{Calibration: cal}, tr)
		require.NoError(t, err)
		for i := range tr.Events {
			if tr.Events[i].Why == controller.WhyNotSeen {
				forgotten++
			}
		}
		res, err := c.Judge(tr, true)
		require.NoError(t, err)
		for _, r := range res {
			assert.Equalf(t, harness.VerdictHolds, r.Verdict, "%s: %s: margin %g %s at %.3f s", f, r.ID, r.Margin, r.Unit, r.ClosestAt)
		}
	}
	assert.Positive(t, forgotten, "some restarts fell between the two commits")
}
