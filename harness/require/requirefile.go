package require

import (
	"github.com/holdline/holdline/harness/files"
)

// FileFormat is the first line of a requirements file.
const FileFormat = "holdline-requirements-1"

// setFile is the content of a requirements file.
type setFile struct {
	Include      []string
	Drop         []string
	Values       []fileValue
	Requirements []fileRequirement
}

// fileValue is a name for {braces} in formulas.
type fileValue struct {
	Name, Is, Reason string
}

type fileRequirement struct {
	ID, Text, Formula, Premise string
	Unit, Scale                string
	Reason, Source             string
	Needs                      []need
	Each                       each
	OfCommits                  bool
}

// FileKind describes requirements files.
var FileKind = files.Kind[setFile]{
	Name: "requirements", Format: FileFormat,
	Doc: "What a run must show. Formulas are explained in the package doc of harness/require.\n" +
		"Words in {braces} are values: those of the calibration, or of [[value]] tables here.",
	Fields: setFields,
}

func setFields(b *files.Block, f *setFile) {
	files.Texts(b, files.Slice(&f.Include), "include", files.Optional(),
		files.Doc("sets that this one builds on: standard/NAME, standard for all of them, or a file beside this one; what follows overrides"))
	files.Texts(b, files.Slice(&f.Drop), "drop", files.Optional(),
		files.Doc("ids of included requirements that are not asked here"))
	files.Tables(b, files.Slice(&f.Values), "value", func(b *files.Block, v *fileValue) {
		files.Text(b, &v.Name, "name", files.Len(1, 40))
		files.Text(b, &v.Is, "is", files.Len(1, 80), files.Doc("a number with its unit, as in a formula"))
		files.Text(b, &v.Reason, "reason", files.Optional())
	}, files.Len(0, 200), files.Doc("A value for {braces}; it wins over an included one and over the calibration's."))
	files.Tables(b, files.Slice(&f.Requirements), "requirement", requirementFields, files.Len(0, 1000),
		files.Doc("One requirement. With the id of an included one, the keys given here replace its."))
}

func requirementFields(b *files.Block, r *fileRequirement) {
	files.Text(b, &r.ID, "id", files.Len(1, 60), files.Doc("short and unique, e.g. launch.overshoot"))
	files.Text(b, &r.Text, "text", files.Optional(), files.Doc("the requirement in words"))
	files.Text(b, &r.Formula, "formula", files.Optional())
	files.Text(b, &r.Premise, "premise", files.Optional(), files.Doc("where it does not hold at the start of the run, nothing is asked"))
	files.Text(b, &r.Unit, "unit", files.Optional(), files.Doc("unit in which the margin is given"))
	files.Text(b, &r.Scale, "scale", files.Optional(), files.Doc("margin, in that unit, that ranks as 1"))
	files.Text(b, &r.Reason, "reason", files.Optional())
	files.Text(b, &r.Source, "source", files.Optional())
	files.Enums(b, files.Slice(&r.Needs), "needs", needWords, files.Optional(), files.Doc("asked only of a calibration that has all of these"))
	files.Bool(b, &r.OfCommits, "of_commits", files.Default(false),
		files.Doc("also asked of a controller that answers commits only: ceilings, stages and sequence are then those of the reference beside it"))
	files.Enum(b, &r.Each, "each", eachWords, files.Default("run"), files.Doc("asked once, or once for every such thing"))
}

// need is something that a calibration has or has not.
type need uint8

const (
	needSequence need = iota
	needLaunch
	needTransBrake
	needPedal
	needAfterRelease
	needPlainAfter
	needShots
	needOwnFuel
	needWithholding
	needRoadSpeed
	needPlainLaunch
	needLaunchTiming
	needOnlyLaunchTiming
	needSlewed
	needTrim
	needBoost
	needSpread
	needFullDepth
	needLean
)

var needWords = files.Words[need]{
	files.Means("launch-sequence", needSequence, "a hold input"),
	files.Means("launch-stage", needLaunch, ""),
	files.Means("trans-brake-hold", needTransBrake, "the trans-brake is the hold input"),
	files.Means("foot-brake", needPedal, "a foot brake switch that is not the hold input"),
	files.Means("after-release-stage", needAfterRelease, ""),
	files.Means("plain-after-release", needPlainAfter, "after-release stage without slew, ramp limit, condition or qualify time"),
	files.Means("shots", needShots, ""),
	files.Means("sequential-fuel", needOwnFuel, ""),
	files.Means("withheld-blind", needWithholding, "cycles are withheld while speed is unknown"),
	files.Means("road-speed", needRoadSpeed, ""),
	files.Means("plain-launch", needPlainLaunch, "launch stage without ceiling slew"),
	files.Means("launch-timing", needLaunchTiming, "launch stage moves timing"),
	files.Means("only-launch-timing", needOnlyLaunchTiming, "and no stage but launch does"),
	files.Means("slewed-timing", needSlewed, "every stage that moves timing slews it in and out"),
	files.Means("surface-trim", needTrim, ""),
	files.Means("boost", needBoost, "manifold pressure is fitted"),
	files.Means("spread-pattern", needSpread, "some stage spreads its cuts"),
	files.Means("full-depth", needFullDepth, "every stage reaches demand 1 at its ceiling"),
	files.Means("mixture-judged", needLean, "lambda closes shots"),
}

// each is what a requirement is repeated for.
type each uint8

const (
	eachRun each = iota
	eachStage
	eachHardStage
	eachSparkStage
	eachWholeStage
	eachLateStage
	eachHeldStage
	eachChannel
	eachWindow
	eachShot
	eachPlainShot
	eachWetShot
	eachDryShot
	eachProgressive
	eachHeldShot
	eachReleasedShot
	eachOnceShot
	eachFeedbackShot
)

var eachWords = files.Words[each]{
	files.Means("run", eachRun, "asked once"),
	files.Means("stage", eachStage, ""),
	files.Means("hard-stage", eachHardStage, "stages of style hard or whole-engine"),
	files.Means("spark-stage", eachSparkStage, "guarded stages that cut spark alone"),
	files.Means("whole-stage", eachWholeStage, "stages of style whole-engine but main"),
	files.Means("late-stage", eachLateStage, "guarded stages that can command timing after top dead centre"),
	files.Means("held-stage", eachHeldStage, "burnout and launch"),
	files.Means("channel", eachChannel, "fitted channels"),
	files.Means("window", eachWindow, "channels with a window for added power"),
	files.Means("shot", eachShot, ""),
	files.Means("plain-shot", eachPlainShot, "shots of full retard at any duty"),
	files.Means("wet-shot", eachWetShot, ""),
	files.Means("dry-shot", eachDryShot, ""),
	files.Means("progressive-shot", eachProgressive, ""),
	files.Means("held-shot", eachHeldShot, "shots that open while held only"),
	files.Means("released-shot", eachReleasedShot, "shots that open after release only"),
	files.Means("once-shot", eachOnceShot, "shots with one opening per hold"),
	files.Means("feedback-shot", eachFeedbackShot, "shots whose flow is seen"),
}
