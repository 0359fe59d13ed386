package sweep

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
)

// Files that Merge writes.
const (
	RowsFile    = "rows.csv"     // a line a launch, the first with names and units
	LinesFile   = "rows.jsonl"   // a JSON object a launch
	SummaryFile = "summary.json" // see Summary
	PageFile    = "index.html"   // the summary as a page with pictures
)

// MergeError lists what is wrong with a set of shards.
type MergeError struct{ Problems []string }

// Error implements error.
func (e *MergeError) Error() string { return strings.Join(e.Problems, "\n") }

// Merge puts the shards of one sweep together. It finds shards that are missing,
// there twice, of another plan or program, unfinished or changed, and then
// writes nothing. What it writes into out is the same whatever the number of
// shards and whoever ran them. Without force it overwrites nothing.
func Merge(folders []string, out string, force bool) (*Summary, error) {
	list, problems := collectShards(folders)
	problems = append(problems, gaps(list)...)
	if len(problems) > 0 {
		return nil, &MergeError{problems}
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return nil, err
	}
	for _, name := range []string{RowsFile, LinesFile, SummaryFile, PageFile} {
		if _, err := os.Lstat(filepath.Join(out, name)); err == nil && !force {
			return nil, fmt.Errorf("%s: %w; give --force to overwrite it", filepath.Join(out, name), fs.ErrExist)
		}
	}
	t, err := mergeRows(list, out)
	if err != nil {
		return nil, err
	}
	s := summarise(list[0].shardHeader, t)
	return s, s.write(out)
}

// found is a shard's file with its header.
type found struct {
	shardHeader
	path string
}

// collectShards reads the headers of all shards in the folders, in the order of
// their launches.
func collectShards(folders []string) (list []found, problems []string) {
	for _, dir := range folders {
		entries, err := os.ReadDir(dir)
		if err != nil {
			problems = append(problems, fmt.Sprintf("%s: %s", dir, harness.ReasonOf(err)))
		}
		for _, e := range entries {
			name, tag, ok := parseFileName(e.Name())
			if !ok {
				continue
			}
			path := filepath.Join(dir, e.Name())
			r, err := openShard(path)
			if err != nil {
				problems = append(problems, err.Error())
				continue
			}
			r.close()
			if r.span() != name || r.Plan[:tagLength] != tag {
				problems = append(problems, fmt.Sprintf("%s: holds shard %s of plan %s: it was renamed", path, r.span(), r.Plan[:tagLength]))
			}
			list = append(list, found{r.shardHeader, path})
		}
	}
	if len(list) == 0 && len(problems) == 0 {
		problems = append(problems, fmt.Sprintf("%s: no shards; run the sweep with this folder as its -o first", strings.Join(folders, ", ")))
	}
	sort.SliceStable(list, func(i, j int) bool {
		a, b := &list[i], &list[j]
		if a.First != b.First {
			return a.First < b.First
		}
		return a.path < b.path
	})
	return list, problems
}

// maxProblems bounds what is said about a set of shards.
const maxProblems = 50

// gaps finds foreign, double and missing shards.
func gaps(list []found) (problems []string) {
	say := func(format string, args ...any) {
		if len(problems) < maxProblems {
			problems = append(problems, fmt.Sprintf(format, args...))
		}
	}
	if len(list) == 0 {
		return nil
	}
	first := &list[0]
	next := int64(0)
	for i := range list {
		s := &list[i]
		switch {
		case s.Plan != first.Plan:
			say("%s: is of another plan (%s, not %s as %s); sort the shards into folders", s.path, s.Plan[:tagLength], first.Plan[:tagLength], first.path)
			continue
		case s.MadeBy != first.MadeBy:
			say("%s: was made by another version of the program (%s, not %s); run it again", s.path, s.MadeBy, first.MadeBy)
		case s.First < next && s.Count > 0:
			say("%s: launches %d to %d are there twice; keep one of the files", s.path, s.First, min(next, s.First+s.Count)-1)
		case s.First > next:
			say("launches %d to %d are missing%s", next, s.First-1, missing(list, next))
		}
		next = max(next, s.First+s.Count)
	}
	if next < first.Launches {
		say("launches %d to %d are missing%s", next, first.Launches-1, missing(list, next))
	}
	return problems
}

// missing names the shards that a gap stands for, if all files are of one cut.
func missing(list []found, from int64) string {
	n := list[0].Of
	have := map[int64]bool{}
	for i := range list {
		if list[i].Of != n {
			return ""
		}
		have[list[i].Shard] = true
	}
	var names []string
	for i := int64(1); i <= n && len(names) < 10; i++ {
		if first, end := (Shard{i, n}).span(list[0].Launches); !have[i] && first >= from && end > first {
			names = append(names, Shard{i, n}.String())
		} else if have[i] && first > from {
			break
		}
	}
	return ": run shard " + strings.Join(names, ", ")
}

// mergeRows copies all rows, counts them and checks every file to its end.
func mergeRows(list []found, out string) (*tally, error) {
	shape := newShape(list[0].Columns, list[0].Pictures)
	t := newTally(shape)
	text, err := createWhole(filepath.Join(out, RowsFile))
	if err != nil {
		return nil, err
	}
	defer text.drop()
	lines, err := createWhole(filepath.Join(out, LinesFile))
	if err != nil {
		return nil, err
	}
	defer lines.drop()
	buf := appendCSV(nil, header(shape.columns))
	if _, err := text.Write(buf); err != nil {
		return nil, err
	}
	for i := range list {
		if err := copyRows(&list[i], shape, t, text, lines); err != nil {
			return nil, err
		}
	}
	return t, errors.Join(text.finish(), lines.finish())
}

func copyRows(s *found, shape *tallyShape, t *tally, text, lines io.Writer) error {
	r, err := openShard(s.path)
	if err != nil {
		return err
	}
	defer r.close()
	var buf []byte
	for {
		row, err := r.next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return &MergeError{[]string{err.Error() + "; remove the file and run the shard again"}}
		}
		t.add(row)
		buf = appendCSV(buf[:0], row)
		if _, err := text.Write(buf); err != nil {
			return err
		}
		buf = appendJSON(buf[:0], shape.columns, row)
		if _, err := lines.Write(buf); err != nil {
			return err
		}
	}
}

// wholeFile is a file that gets its name when it is complete.
type wholeFile struct {
	*bufio.Writer
	file *os.File
	path string
}

func createWhole(path string) (*wholeFile, error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return nil, err
	}
	return &wholeFile{bufio.NewWriterSize(f, 1<<16), f, path}, nil
}

func (w *wholeFile) finish() error {
	if err := w.Flush(); err != nil {
		return err
	}
	return files.Finish(w.file, w.path)
}

// drop removes what was not finished; after finish it does nothing.
func (w *wholeFile) drop() {
	w.file.Close()
	os.Remove(w.file.Name())
}

func writeWhole(path string, data []byte) error { return files.WriteFile(path, data, true) }
