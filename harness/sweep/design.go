package sweep

import (
	"math/big"
	"math/rand/v2"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distmv"
	"gonum.org/v1/gonum/stat/samplemv"

	"github.com/holdline/holdline/harness/files"
)

// design gives every launch number its settings. The number counts scenarios,
// then groups of parameters in the order of the plan, then samples, then
// repeats, the last fastest.
type design struct {
	scenarios int64
	axes      []axis
	samples   [][]int32 // by sample and sampled parameter: the lattice index
	sampled   []int     // parameters that are sampled
	repeats   int64
	levels    [][]string // by parameter
}

// axis is one parameter, or several that move together.
type axis struct {
	parameters []int
	size       int64
}

// point is what a launch number stands for.
type point struct {
	scenario int
	values   []string // by parameter
	repeat   int64
}

func newDesign(p *PlanFile) *design {
	d := &design{scenarios: int64(max(len(p.Scenarios), 1)), repeats: p.Repeats, levels: make([][]string, len(p.Parameters))}
	groups := map[string]int{}
	for i := range p.Parameters {
		q := &p.Parameters[i]
		if q.Sampled {
			d.sampled = append(d.sampled, i)
			continue
		}
		d.levels[i] = q.levels()
		if at, ok := groups[q.Group]; ok && q.Group != "" {
			d.axes[at].parameters = append(d.axes[at].parameters, i)
			continue
		}
		groups[q.Group] = len(d.axes)
		d.axes = append(d.axes, axis{[]int{i}, int64(len(d.levels[i]))})
	}
	return d
}

// spread draws the samples, which can be many.
func (d *design) spread(p *PlanFile) {
	if len(d.sampled) > 0 && d.samples == nil {
		d.samples = latticeSamples(p, d.sampled)
	}
}

// sampleCount is 1 where nothing is sampled.
func sampleCount(p *PlanFile) int64 { return max(p.Samples.Count, 1) }

// size is the number of launches; ok is false where it is beyond the limit.
func (d *design) size(p *PlanFile) (n int64, ok bool) {
	n = d.scenarios
	for _, f := range append([]int64{sampleCount(p), d.repeats}, d.sizes()...) {
		if f == 0 || n > maxLaunches/f {
			return 0, false
		}
		n *= f
	}
	return n, true
}

func (d *design) sizes() (sizes []int64) {
	for _, a := range d.axes {
		sizes = append(sizes, a.size)
	}
	return sizes
}

// at gives the point of a launch number.
func (d *design) at(p *PlanFile, launch int64) point {
	pt := point{values: make([]string, len(p.Parameters))}
	take := func(n int64) int64 {
		i := launch % n
		launch /= n
		return i
	}
	pt.repeat = take(d.repeats)
	if s := take(sampleCount(p)); d.samples != nil {
		for j, i := range d.sampled {
			pt.values[i] = p.Parameters[i].lattice(int64(d.samples[s][j]))
		}
	}
	for k := len(d.axes) - 1; k >= 0; k-- {
		level := take(d.axes[k].size)
		for _, i := range d.axes[k].parameters {
			pt.values[i] = d.levels[i][level]
		}
	}
	pt.scenario = int(launch)
	return pt
}

// levels lists a parameter's values as a person would write them.
func (p *Parameter) levels() []string {
	if !p.HasFrom {
		out := make([]string, len(p.Values))
		for i, v := range p.Values {
			if out[i] = bare(v); out[i] == v {
				if x, ok := number(v); ok {
					out[i] = plain(x)
				}
			}
		}
		return out
	}
	out := make([]string, latticeSize(p))
	for i := range out {
		out[i] = p.lattice(int64(i))
	}
	return out
}

// bare is a value without the quotes of a text.
func bare(written string) string {
	doc, _ := files.Parse("", []byte("v = "+written))
	if n := doc.Root.Get("v"); n != nil && n.Kind == files.StringNode {
		return n.Text
	}
	return written
}

// plain writes a number as the shortest decimal that means it.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func rat(x float64) *big.Rat {
	r, _ := new(big.Rat).SetString(plain(x))
	return r
}

// latticeSize is how many steps lie within a range, ends included.
func latticeSize(p *Parameter) int64 {
	q := new(big.Rat).Sub(rat(p.To), rat(p.From))
	q.Quo(q, rat(p.Step))
	n := new(big.Int).Quo(q.Num(), q.Denom())
	if !n.IsInt64() || n.Int64() >= 1<<31-1 {
		return 1<<31 - 1
	}
	return n.Int64() + 1
}

// lattice is from + k step, exactly.
func (p *Parameter) lattice(k int64) string { return onLattice(p.From, p.Step, k) }

func onLattice(from, step float64, k int64) string {
	v := new(big.Rat).Mul(rat(step), new(big.Rat).SetInt64(k))
	text := v.Add(v, rat(from)).FloatString(12)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

// latticeSamples spreads points over the ranges of the sampled parameters. A
// point is rounded to the parameters' steps at once, so that the last bit of a
// multiplication, which differs between architectures, does not show.
func latticeSamples(p *PlanFile, sampled []int) [][]int32 {
	n, dims := int(p.Samples.Count), len(sampled)
	src := rand.NewPCG(uint64(p.Seed), sampleStream)
	unit := distmv.NewUnitUniform(dims, nil)
	batch := mat.NewDense(n, dims, nil)
	if p.Samples.Method == LatinHypercube {
		samplemv.LatinHypercube{Q: unit, Src: src}.Sample(batch)
	} else {
		samplemv.Halton{Kind: samplemv.Owen, Q: unit, Src: src}.Sample(batch)
	}
	out, cells := make([][]int32, n), make([]int32, n*dims)
	for i := range out {
		out[i] = cells[i*dims : (i+1)*dims]
		for j, k := range sampled {
			size := latticeSize(&p.Parameters[k])
			out[i][j] = int32(min(int64(batch.At(i, j)*float64(size)), size-1))
		}
	}
	return out
}
