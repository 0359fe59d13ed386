package sweep

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// madeUp is the summary of a quick plan.
func madeUp(t require.TestingT, launches int64, pictures ...Picture) *Summary {
	p := quickPlan(launches)
	p.Pictures = pictures
	h := p.shardHeader(Options{Shard: Whole})
	all := newTally(newShape(h.Columns, h.Pictures))
	for n := range launches {
		r, err := (&quick{plan: p}).row(n)
		require.NoError(t, err)
		all.add(r)
	}
	return summarise(*h, all)
}

func wellFormed(t require.TestingT, text string) {
	d := xml.NewDecoder(strings.NewReader(text))
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		require.NoError(t, err, text)
	}
}

var numberInPath = regexp.MustCompile(`[MLHV] ?(-?[0-9.]+)(?: (-?[0-9.]+))?`)

// Whatever the values, a picture is well formed and stays on its sheet.
func TestPicturesStayOnTheSheet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Drawing{Form: rapid.SampledFrom([]string{"lines", "map", "limits"}).Draw(t, "form"), X: "calibration.stage.launch.ceiling_rpm", By: "surface.grip", Value: Column{Name: "sixty_feet", Unit: "s"}}
		value := rapid.Float64Range(-1e6, 1e6)
		if d.Form == "limits" {
			value = rapid.Float64Range(0, 1)
		}
		for range rapid.IntRange(0, 9).Draw(t, "lines") {
			l := Line{Label: rapid.StringN(0, 30, 60).Filter(printable).Draw(t, "label")}
			for range rapid.IntRange(1, 6).Draw(t, "points") {
				v := value.Draw(t, "value")
				l.Points = append(l.Points, LinePoint{At: rapid.Float64Range(-1e5, 1e5).Draw(t, "x"), Median: v, P10: v - math.Abs(v)/10, P90: v + math.Abs(v)/10})
			}
			d.Lines = append(d.Lines, l)
		}
		text := svg(&d)
		wellFormed(t, text)
		require.NotContains(t, text, "NaN")
		require.NotContains(t, text, "Inf")
		require.Equal(t, text, svg(&d), "the same bytes each time")
		for _, m := range numberInPath.FindAllStringSubmatch(text, -1) {
			for _, s := range m[1:] {
				v, _ := strconv.ParseFloat("0"+s, 64)
				require.True(t, s == "" || v >= -1 && v <= chartWide+1, "%s in %s", s, m[0])
			}
		}
	})
}

func printable(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0xFFFD || r == 0xFFFE || r == 0xFFFF })
}

// Labels at the end of lines keep a line's height between them, and their order.
func TestLabelsDoNotTouch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		places := rapid.SliceOfN(rapid.Float64Range(plotTop, plotBottom), 1, 16).Draw(t, "places")
		out := apart(places)
		for i := range out {
			assert.LessOrEqual(t, out[i], plotBottom+1e-9)
			for j := range out {
				if i != j {
					assert.GreaterOrEqual(t, math.Abs(out[i]-out[j]), labelHeight-1e-9)
				}
				if places[i] < places[j] {
					assert.Less(t, out[i], out[j])
				}
			}
		}
	})
}

func TestScaleHasWholeSteps(t *testing.T) {
	s := niceScale(3012, 5488, 0, 100, 5)
	assert.Equal(t, [3]float64{3000, 5500, 500}, [3]float64{s.low, s.high, s.step})
	s = niceScale(1.803, 2.61, 0, 100, 6)
	assert.InDelta(t, 0.2, s.step, 1e-12)
	assert.Equal(t, "2.2", markText(2.2000000001, s.step))
	s = niceScale(5, 5, 0, 100, 5)
	assert.Less(t, s.low, s.high)
}

func TestPageShowsWhatItSays(t *testing.T) {
	s := madeUp(t, 600, Picture{Form: Map, X: "surface.grip", By: "calibration.stage.launch.style", Value: "sixty_feet"}, Picture{Form: Limits, X: "hold_speed", Value: "sixty_feet"}, Picture{X: "hold_speed", Value: "eighth"})
	page := string(s.page())
	assert.Equal(t, 3, strings.Count(page, "<svg"))
	assert.Contains(t, page, "width=device-width", "for a phone")
	assert.NotContains(t, page, "<script")
	assert.NotContains(t, page, "<img")
	assert.Contains(t, page, "Results of a model")
	assert.Contains(t, page, "made up, with, commas and &#34;quotes&#34; &lt;&amp;&gt;")
	assert.Equal(t, page, string(s.page()))
	for _, picture := range regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAllString(page, -1) {
		wellFormed(t, picture)
	}

	m := s.Pictures[0]
	require.Len(t, m.Lines, 2)
	assert.Equal(t, "hard", m.Lines[0].Label)
	assert.Equal(t, []string{"1.2", "1.6"}, []string{m.Lines[0].Points[0].X, m.Lines[0].Points[1].X})
	assert.InDelta(t, 1.8, m.Lines[0].Points[0].Median, 0.05, "as made up")
	assert.InDelta(t, 1.8-0.128, m.Lines[0].Points[0].P10, 0.05)
	assert.LessOrEqual(t, m.Lines[0].Points[0].Low, m.Lines[0].Points[0].Median)
	assert.Positive(t, m.Without, "refused launches have no time")
	for _, p := range s.Pictures[1].Lines[0].Points {
		assert.True(t, p.Median >= 0 && p.Median <= 1)
	}
	assert.True(t, s.Pictures[1].Binned)
	_, err := json.Marshal(s)
	require.NoError(t, err, "no number that JSON cannot say")
}

// The shares of what limited the launches add up to all of them, at each place.
func TestLimitsAddUp(t *testing.T) {
	s := madeUp(t, 300, Picture{Form: Limits, X: "surface.grip", Value: "sixty_feet"})
	sum := map[string]float64{}
	for _, l := range s.Pictures[0].Lines {
		for _, p := range l.Points {
			sum[p.X] += p.Median
		}
	}
	require.Len(t, sum, 2)
	for x, v := range sum {
		assert.InDelta(t, 1, v, 1e-5, x)
	}
}

func TestUsualPictures(t *testing.T) {
	p := mustDecode(t, shortPlan)
	list := p.usualPictures()
	require.Len(t, list, 2)
	assert.Equal(t, Picture{Map, "calibration.stage.launch.ceiling_rpm", "surface.grip", "sixty_feet"}, list[0], "60 ft against launch speed by surface")
	assert.Equal(t, Limits, list[1].Form)
	assert.Equal(t, "hold_speed", mustDecode(t, saltmarsh).usualPictures()[0].X, "measured, where nothing is varied")
}

func TestBins(t *testing.T) {
	assert.Equal(t, "soft", bins{}.of("soft"))
	b := bins{3000, 100}
	assert.Equal(t, "3050", b.of("3000"))
	assert.Equal(t, "3050", b.of("3099.9"))
	assert.Equal(t, "3150", b.of("3100"))
	assert.Equal(t, "", b.of(""))
	c := binsOf(&Parameter{HasFrom: true, From: 0, To: 12, Step: 0.1, Sampled: true})
	assert.Equal(t, c.of("11.9"), c.of("12"), "the end is in the last bin")
}
