package sweep

import (
	"github.com/holdline/holdline/harness/files"
)

// PlanKind is the file kind of sweep plans.
var PlanKind = files.Kind[PlanFile]{
	Name: "plan", Format: "holdline-plan-1",
	Doc: "A sweep plan: which simulated launches to run. Values are named by their path in the scenario, the car or the calibration. " +
		"Files that it names are looked for from its own folder.",
	Fields: planFields,
}

// PlanFile is what a plan file says.
type PlanFile struct {
	Name        string
	Scenarios   []string
	Car         string
	Calibration string
	Does        []string // driver phrases of a plan without scenario
	Seed        int64
	Repeats     int64
	Require     []string
	Shards      int64

	Parameters []Parameter
	Samples    Samples
	Scatter    []Scatter
	Keep       Keep
	Pictures   []Picture
}

// Parameter is one value that changes from launch to launch, by its path.
type Parameter struct {
	Path    string
	Name    string   // of its column, where the path does not say enough
	Values  []string // as written, texts in quotes
	HasFrom bool
	From    float64
	To      float64
	Step    float64
	Sampled bool
	Group   string
	As      string
}

// Method is a way to spread samples over a space.
type Method uint8

// The methods of sampling.
const (
	Halton Method = iota
	LatinHypercube
)

// Samples says how parameters with sampled = true are spread.
type Samples struct {
	Count  int64
	Method Method
}

// Shape is the distribution of a scatter.
type Shape uint8

// The shapes of scatter.
const (
	Normal Shape = iota
	Uniform
)

// Scatter is a value that differs at random from launch to launch.
type Scatter struct {
	Path     string
	Spread   float64
	Relative bool
	Shape    Shape
	Step     float64
}

// Keep says of which launches whole traces are kept.
type Keep struct {
	Failures int64
	Worst    int64
	Launches []int64
}

// PictureForm is what a picture shows.
type PictureForm uint8

// The forms of a picture.
const (
	Lines PictureForm = iota
	Map
	Limits
)

// Picture is one picture of the summary.
type Picture struct {
	Form  PictureForm
	X     string
	By    string
	Value string
}

// Bounds of a plan.
const (
	maxParameters = 16
	maxScatter    = 16
	maxWord       = 60
	maxLaunches   = 1_000_000_000
	maxSamples    = 1_000_000
	maxLevels     = 10_000
)

func planFields(b *files.Block, p *PlanFile) {
	files.Text(b, &p.Name, "name", files.Len(1, 80), files.Doc("shown with results"))
	files.Texts(b, files.Slice(&p.Scenarios), "scenarios", files.Optional(), files.Len(0, 40), files.Doc("scenario files, each with its own car and calibration; or give car, calibration and does instead"))
	files.Text(b, &p.Car, "car", files.Optional(), files.Len(0, 400), files.Doc("car file of a plan without scenarios"))
	files.Text(b, &p.Calibration, "calibration", files.Optional(), files.Len(0, 400), files.Doc("calibration file of a plan without scenarios"))
	files.Texts(b, files.Slice(&p.Does), "does", files.Optional(), files.Len(0, 64), files.Doc("what the driver does, as in a scenario, of a plan without scenarios"))
	files.Int(b, &p.Seed, "seed", files.Number, files.Range(0, 1e15), files.Default(1), files.Doc("the seed of every launch follows from it and from the launch's number"))
	files.Int(b, &p.Repeats, "repeats", files.Number, files.Range(1, 1000000), files.Default(1), files.Doc("launches at each point, each with its own seed"))
	files.Texts(b, files.Slice(&p.Require), "require", files.Optional(), files.Len(0, 20), files.Doc("requirement sets that every launch must meet: standard, standard/NAME, or a requirements file"))
	files.Int(b, &p.Shards, "shards", files.Number, files.Range(1, 1000000), files.Optional(), files.Doc("tasks, where the scheduler does not say how many there are; does not change any result"))
	files.Tables(b, files.Slice(&p.Parameters), "parameter", parameterFields, files.Len(0, maxParameters), files.Doc("A value that changes from launch to launch. The last one changes fastest."))
	files.Table(b, "samples", func(b *files.Block) {
		files.Int(b, &p.Samples.Count, "count", files.Number, files.Range(1, maxSamples), files.Optional(), files.Doc("points; each is run at every combination of the other parameters"))
		files.Enum(b, &p.Samples.Method, "method", methodWords, files.Default("halton"))
	}, files.Doc("How parameters with sampled = true are spread over their ranges, together."))
	files.Tables(b, files.Slice(&p.Scatter), "scatter", scatterFields, files.Len(0, maxScatter), files.Doc("A value that differs at random from launch to launch, around what the files or the parameters say."))
	files.Table(b, "keep", func(b *files.Block) {
		files.Int(b, &p.Keep.Failures, "failures", files.Number, files.Range(0, 100), files.Default(5), files.Doc("the first so many that failed a requirement or could not be run to the end"))
		files.Int(b, &p.Keep.Worst, "worst", files.Number, files.Range(0, 100), files.Default(3), files.Doc("the so many of smallest margin"))
		files.Ints(b, files.Slice(&p.Keep.Launches), "launches", files.Number, files.Range(0, maxLaunches), files.Len(0, 100), files.Optional(), files.Doc("and these, by number"))
	}, files.Doc("Of which launches whole traces are kept. They are run again for it: the same launch gives the same trace."))
	files.Tables(b, files.Slice(&p.Pictures), "picture", pictureFields, files.Len(0, 12), files.Doc("A picture of the summary. Without any, those that fit the parameters are drawn."))
}

func parameterFields(b *files.Block, p *Parameter) {
	files.Text(b, &p.Path, "path", files.Len(3, 120), files.Doc(`in the scenario, such as "surface.grip" or "driver.does[3]", or in the files that it names, such as "calibration.stage.launch.ceiling_rpm" or "car.tyre.mu"`))
	files.Text(b, &p.Name, "name", files.Optional(), files.Len(0, 40), files.Doc("of its column and axis, instead of the path"))
	files.Values(b, files.Slice(&p.Values), "values", files.Optional(), files.Len(0, maxLevels), files.Doc("numbers in the unit of the value's own key, words, texts, true or false"))
	files.Float(b, &p.From, "from", "", files.Range(-1e9, 1e9), files.Optional())
	files.Float(b, &p.To, "to", "", files.Range(-1e9, 1e9), files.Optional())
	files.Float(b, &p.Step, "step", "", files.Range(0, 1e9), files.Optional(), files.Doc("of the grid, or what a sampled value is rounded to"))
	files.Bool(b, &p.Sampled, "sampled", files.Default(false), files.Doc("spread over from..to instead of a grid, see [samples]"))
	files.Text(b, &p.Group, "group", files.Optional(), files.Len(0, 40), files.Doc("parameters of one group move together, first with first"))
	files.Text(b, &p.As, "as", files.Optional(), files.Len(0, 200), files.Doc(`a text in which {} stands for the number, such as "clutch ramp to 22 % over {} s at 3.5 s"`))
	if b.Decoding() {
		p.HasFrom = b.Given("from")
		checkParameter(b, p)
	}
}

var methodWords = files.Words[Method]{
	files.Means("halton", Halton, "scrambled Halton points"),
	files.Means("latin-hypercube", LatinHypercube, ""),
}

func scatterFields(b *files.Block, s *Scatter) {
	files.Text(b, &s.Path, "path", files.Len(3, 120))
	files.Float(b, &s.Spread, "spread", "", files.Range(0, 1e6), files.Doc("standard deviation, cut at three of them; for uniform the largest deviation"))
	files.Bool(b, &s.Relative, "relative", files.Default(false), files.Doc("spread is a share of the value"))
	files.Enum(b, &s.Shape, "shape", shapeWords, files.Default("normal"))
	files.Float(b, &s.Step, "step", "", files.Range(1e-9, 1e6), files.Default(0.001), files.Doc("what the deviation is rounded to; 1 for a value in whole rpm"))
}

var shapeWords = files.Words[Shape]{files.Means("normal", Normal, ""), files.Means("uniform", Uniform, "")}

func pictureFields(b *files.Block, p *Picture) {
	files.Enum(b, &p.Form, "form", formWords, files.Default("lines"))
	files.Text(b, &p.X, "x", files.Len(1, 120), files.Doc("a parameter's name or path, or a measured column such as hold_speed"))
	files.Text(b, &p.By, "by", files.Optional(), files.Len(0, 120), files.Doc("a line for each value of this parameter, or scenario"))
	files.Text(b, &p.Value, "value", files.Default("sixty_feet"), files.Len(1, 120), files.Doc("a measured column"))
}

var formWords = files.Words[PictureForm]{
	files.Means("lines", Lines, "medians with bands of spread"),
	files.Means("map", Map, "a table of medians, and a line for each value of by"),
	files.Means("limits", Limits, "what limited the launches, as shares"),
}
