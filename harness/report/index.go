package report

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"iter"
	"net/url"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/require"
)

// IndexRow is one run in an index.
type IndexRow struct {
	Name    string
	Seed    uint64
	Verdict string // of harness.Results
	Worst   string // requirement that failed by most, or held by least; "" if nothing was required
	Margin  float64
	Unit    string
	Scaled  float64 // ranks margins of different units
	Unsized bool
	Feet60  float64 // s; 0: not reached, or no car
	Limit   string  // what limited the way to 60 ft
	Link    string  // relative address of the run's page; "": none was kept
}

// RowOf sums a run up for an index.
func RowOf(r *harness.Results, link string) IndexRow {
	row := IndexRow{Name: r.Title(), Seed: r.Seed, Verdict: r.Verdict, Link: link}
	if list := require.Ranked(r.Requirements); len(list) > 0 {
		q := &list[0]
		row.Worst, row.Margin, row.Unit, row.Scaled, row.Unsized = q.ID, q.Margin, q.Unit, q.Scaled, q.Unsized
	}
	if r.Launch != nil {
		row.Feet60, row.Limit = r.Launch.Feet60, r.Launch.Limit
	}
	return row
}

// IndexHead is what stands above the rows of an index.
type IndexHead struct {
	Title  string
	Repeat string // the command that repeats the runs; "": not told
	Facts  []Fact
}

// Index writes the page that lists many runs, failures first. The rows are taken
// one by one and kept nowhere but in a temporary file, so that memory does not
// grow with their number. An error of the sequence ends it.
func Index(w io.Writer, head IndexHead, rows iter.Seq2[IndexRow, error]) (err error) {
	spools, err := newSpools()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, spools.remove()) }()
	for row, bad := range rows {
		if bad != nil {
			return bad
		}
		if err := spools.add(&row); err != nil {
			return err
		}
	}
	v := indexView{sheet: newSheet(shown(head.Title)), Repeat: spelled(head.Repeat), Groups: spools.counts()}
	v.script(indexScript)
	for _, f := range head.Facts {
		v.Facts = append(v.Facts, Fact{Name: shown(f.Name), Text: shown(f.Text)})
	}
	for _, g := range v.Groups {
		v.All += g.N
	}
	if err := indexTemplate.ExecuteTemplate(w, "index", &v); err != nil {
		return err
	}
	if err := spools.copy(w); err != nil {
		return err
	}
	return indexTemplate.ExecuteTemplate(w, "indexend", &v)
}

type indexView struct {
	sheet
	Repeat string
	Facts  []Fact
	Groups []indexGroup
	All    int
	Chart  *chart // none; the shared foot asks
}

// indexGroup counts the runs of one verdict.
type indexGroup struct {
	Key, Words string
	N          int
}

// indexClasses are the verdicts in the order of the page.
var indexClasses = [...]string{harness.VerdictFails, harness.VerdictInconclusive, harness.VerdictHolds, harness.VerdictNone}

func classOf(verdict string) int {
	for i, c := range indexClasses {
		if c == verdict {
			return i
		}
	}
	return len(indexClasses) - 1
}

// spools keep the finished rows of each verdict in a file until all have come.
type spools struct {
	files [len(indexClasses)]*os.File
	out   [len(indexClasses)]*bufio.Writer
	n     [len(indexClasses)]int
}

func newSpools() (*spools, error) {
	s := &spools{}
	for i := range s.files {
		f, err := os.CreateTemp("", "holdline-index-*")
		if err != nil {
			return nil, errors.Join(fmt.Errorf("index: %w", err), s.remove())
		}
		s.files[i], s.out[i] = f, bufio.NewWriter(f)
	}
	return s, nil
}

func (s *spools) add(row *IndexRow) error {
	i := classOf(row.Verdict)
	s.n[i]++
	return indexTemplate.ExecuteTemplate(s.out[i], "indexrow", viewRow(row, i))
}

func (s *spools) counts() (list []indexGroup) {
	for i, n := range s.n {
		if n > 0 {
			list = append(list, indexGroup{indexClasses[i], verdictLower(indexClasses[i]), n})
		}
	}
	return list
}

func (s *spools) copy(w io.Writer) error {
	for i, f := range s.files {
		if err := s.out[i].Flush(); err != nil {
			return fmt.Errorf("index: %w", err)
		}
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			return fmt.Errorf("index: %w", err)
		}
		if _, err := io.Copy(w, f); err != nil {
			return fmt.Errorf("index: %w", err)
		}
	}
	return nil
}

func (s *spools) remove() (err error) {
	for _, f := range s.files {
		if f != nil {
			err = errors.Join(err, f.Close(), os.Remove(f.Name()))
		}
	}
	return err
}

// indexRowView is a row as the template writes it. Order is the place of its
// verdict; Rank sorts margins.
type indexRowView struct {
	Key, Sign, Verdict, Name, Seed, Worst, Margin, Feet60, Limit string
	Rank                                                         string
	Link                                                         string
	Order                                                        int
}

// mostIndexRunes keeps a row of an index short.
const mostIndexRunes = 60

func viewRow(r *IndexRow, class int) *indexRowView {
	short := func(s string) string { return cut(spelled(s), mostIndexRunes) }
	q := harness.RequirementResult{Verdict: r.Verdict, Margin: r.Margin, Unit: r.Unit, Unsized: r.Unsized}
	if q.Margin >= 0 {
		q.Verdict = harness.VerdictHolds // the sign is the margin's own
	}
	v := &indexRowView{
		Key: indexClasses[class], Order: class, Verdict: verdictLower(indexClasses[class]), Sign: [...]string{"\u2715", "?", "\u2713", "\u2013"}[class],
		Name: cut(spelled(r.Name), 2*mostIndexRunes), Seed: strconv.FormatUint(r.Seed, 10), Worst: short(r.Worst), Limit: short(r.Limit),
		Rank: strconv.FormatFloat(r.Scaled, 'g', 6, 64), Link: relative(r.Link),
	}
	if r.Worst != "" {
		v.Margin = marginWords(&q)
	}
	if r.Feet60 > 0 {
		v.Feet60 = strconv.FormatFloat(r.Feet60, 'f', 3, 64)
	}
	return v
}

// Heads are the columns that the page sorts by.
func (v *indexView) Heads() []indexColumn {
	return []indexColumn{
		{0, "Verdict", true, ""}, {1, "Run", false, ""}, {2, "Seed", true, "n"}, {3, "Worst requirement", false, ""},
		{4, "Margin", true, "n"}, {5, "60 ft, s", true, "n"}, {6, "Limited by", false, ""},
	}
}

type indexColumn struct {
	At     int
	Name   string
	Number bool // sorts by number
	Class  string
}

func verdictLower(verdict string) string {
	if verdict == harness.VerdictNone {
		return "not judged"
	}
	return verdict
}

// relative lets through an address below the index, and nothing else: no scheme,
// no host, no way up.
func relative(link string) string {
	u, err := url.Parse(link)
	if err != nil || u.IsAbs() || u.Host != "" || u.Opaque != "" || strings.HasPrefix(u.Path, "/") || slices.Contains(strings.Split(u.Path, "/"), "..") {
		return ""
	}
	return u.String()
}
