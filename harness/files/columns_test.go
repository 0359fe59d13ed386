package files

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/record"
)

func TestColumnsDescription(t *testing.T) { require.NoError(t, ColumnsKind.Verify()) }

func TestInputsVocabulary(t *testing.T) { require.NoError(t, Inputs().Verify()) }

// scripted plays a script into a stimulus, as a replay does.
type scripted struct {
	columns *Columns
	player  *Player
	cal     *controller.Calibration
	in      *controller.Input
	last    *controller.Output
}

func (s *scripted) Switch(id int) bool { return s.in.On.Has(controller.Switch(id)) }
func (s *scripted) Moment(id int) bool { return MomentHolds(id, s.cal, s.last) }
func (s *scripted) Channel(id int) (int64, bool) {
	if id >= int(controller.NumChannels) {
		return int64(s.last.SinceRelease), true
	}
	x := s.in.Channels[id]
	return int64(x.Value), x.Good
}

func (s *scripted) Set(t int64, in *controller.Input, last *controller.Output) {
	s.columns.Constants(in)
	s.in, s.last = in, last
	s.player.Tick(t, s)
	for _, o := range s.player.Outputs() {
		switch {
		case !o.Scripted:
		case o.Target.Kind == SwitchTarget:
			in.Put(controller.Switch(o.Target.ID), o.On)
		case o.Target.Kind == ChannelTarget:
			in.Set(controller.Channel(o.Target.ID), int32(o.Value))
		}
	}
}

// The shipped recording with the shipped columns and calibration: a bump, a
// launch that is held, cut and released, an after-release ramp that cuts, and a
// shot that stays closed with its reason.
func TestExampleDrive(t *testing.T) {
	cal, findings := LoadCalibration(filepath.Join(examples, "calibrations", "street-four.toml"))
	require.Empty(t, findings)
	columns, findings := LoadColumns(filepath.Join(examples, "columns", "obd-drive.toml"))
	require.Empty(t, findings)
	rec, findings := record.ReadFile(filepath.Join(examples, "recordings", "obd-drive-1hz.csv"), columns.Options())
	require.NoError(t, findings.Err())
	feeds, switches, findings := columns.Bind(rec)
	require.Empty(t, findings)
	require.Len(t, feeds, 8)
	s := &record.Stimulus{
		Feeds: feeds, Switches: switches, PeriodUS: int64(cal.Period),
		Script:   &scripted{columns: columns, player: NewPlayer(&columns.Script, nil), cal: cal},
		Schedule: harness.NewSchedule(&cal.Engine, cal.Period, columns.Commit),
		FromUS:   rec.StartUS + columns.Recording.FromUS, ToUS: rec.StartUS + columns.Recording.ToUS,
	}
	digest := harness.NewDigest(cal)
	unit := &harness.Reference{}
	_, err := unit.Open(harness.Session{Calibration: cal})
	require.NoError(t, err)
	var f harness.Frame
	lost := controller.ChannelSet(0)
	for {
		f.N = 0
		if s.Next(&f) != nil {
			break
		}
		require.NoError(t, unit.Step(&f))
		lost |= f.Out.Lost
		require.NoError(t, digest.Record(&f))
	}
	var r harness.Results
	digest.Fill(&r)
	t.Logf("%+v", r.Sequence)
	t.Logf("%+v", r.Stages)
	t.Logf("%+v", r.Shots)
	t.Logf("%+v", r.Cuts)
	assert.Zero(t, lost, "every channel is fresh all the time")
	assert.Equal(t, 1, r.Launches)
	assert.Equal(t, 1, r.Bumps)
	assert.Zero(t, r.Aborts)
	require.Len(t, r.Stages, 3)
	assert.Greater(t, r.Stages[0].Cutting, 1.0, "the launch stage cuts")
	assert.Greater(t, r.Stages[1].Cutting, 0.2, "so does the ramp")
	require.Len(t, r.Shots, 1)
	assert.Zero(t, r.Shots[0].Openings)
	assert.NotEmpty(t, r.Shots[0].Inhibited)
	assert.Positive(t, r.Cuts.Both)
}
