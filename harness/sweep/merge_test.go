package sweep

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func shards(t *testing.T, p *Plan, dir string, n int64) {
	for i := int64(1); i <= n; i++ {
		_, err := Run(context.Background(), p, Options{Out: dir, Shard: Shard{i, n}, start: quickly(nil)})
		require.NoError(t, err)
	}
}

func TestMergeFindsWhatIsWrong(t *testing.T) {
	p := quickPlan(100)
	name := func(i, n int64) string { return Shard{i, n}.fileName(p.Tag()) }
	for _, x := range []struct {
		title string
		spoil func(dir string)
		says  string
	}{
		{"one missing", func(dir string) { os.Remove(filepath.Join(dir, name(2, 4))) }, "launches 25 to 49 are missing: run shard 2/4"},
		{"the last missing", func(dir string) { os.Remove(filepath.Join(dir, name(4, 4))) }, "launches 75 to 99 are missing: run shard 4/4"},
		{"two missing", func(dir string) {
			os.Remove(filepath.Join(dir, name(2, 4)))
			os.Remove(filepath.Join(dir, name(3, 4)))
		}, "run shard 2/4, 3/4"},
		{"cut in another way as well", func(dir string) { shards(t, p, dir, 3) }, "are there twice"},
		{"of another plan", func(dir string) { shards(t, quickPlan(101), dir, 1) }, "is of another plan"},
		{"of another version", func(dir string) {
			os.Remove(filepath.Join(dir, name(3, 4)))
			_, err := Run(context.Background(), p, Options{Out: dir, Shard: Shard{3, 4}, Version: "v0.0.0-other", start: quickly(nil)})
			require.NoError(t, err)
		}, "another version of the program"},
		{"renamed", func(dir string) { os.Rename(filepath.Join(dir, name(2, 4)), filepath.Join(dir, name(2, 5))) }, "it was renamed"},
		{"copied over another", func(dir string) {
			text, err := os.ReadFile(filepath.Join(dir, name(1, 4)))
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(dir, name(2, 4)), text, 0o644))
		}, "there twice"},
		{"a digit changed", func(dir string) {
			path := filepath.Join(dir, name(2, 4))
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(text), "1.2", "1.6", 1)), 0o644))
		}, "was changed after it was written"},
		{"cut off", func(dir string) {
			path := filepath.Join(dir, name(2, 4))
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(path, text[:len(text)/2], 0o644))
		}, "of 25 launches|is not a row"},
		{"something else", func(dir string) {
			require.NoError(t, os.WriteFile(filepath.Join(dir, name(2, 4)), []byte("hello\n"), 0o644))
		}, "is not a shard"},
		{"empty folder", func(dir string) {
			for i := int64(1); i <= 4; i++ {
				os.Remove(filepath.Join(dir, name(i, 4)))
			}
		}, "no shards; run the sweep"},
	} {
		dir, out := t.TempDir(), t.TempDir()
		shards(t, p, dir, 4)
		x.spoil(dir)
		_, err := Merge([]string{dir}, out, false)
		require.Error(t, err, x.title)
		assert.Regexp(t, x.says, err.Error(), x.title)
		var me *MergeError
		assert.ErrorAs(t, err, &me, x.title)
		entries, err := os.ReadDir(out)
		require.NoError(t, err)
		assert.Empty(t, entries, "%s: nothing is written", x.title)
	}
}

func TestMergeOverwritesOnlyWhenTold(t *testing.T) {
	p, dir := quickPlan(20), t.TempDir()
	shards(t, p, dir, 1)
	_, err := Merge([]string{dir}, dir, false)
	require.NoError(t, err)
	_, err = Merge([]string{dir}, dir, false)
	assert.ErrorContains(t, err, "--force")
	_, err = Merge([]string{dir}, dir, true)
	assert.NoError(t, err)
	_, err = Merge([]string{filepath.Join(dir, "nowhere")}, dir, true)
	assert.Error(t, err)
}

// More shards than launches leave some empty; nothing is missing then.
func TestMoreShardsThanLaunches(t *testing.T) {
	p, dir := quickPlan(3), t.TempDir()
	shards(t, p, dir, 7)
	s, err := Merge([]string{dir}, dir, false)
	require.NoError(t, err)
	assert.Equal(t, int64(3), s.Launches)
}

// Tallies merge in any grouping and any order to the same summary.
func TestTalliesAssociateAndCommute(t *testing.T) {
	p := quickPlan(1000)
	h := p.shardHeader(Options{Shard: Whole})
	shape := newShape(h.Columns, h.Pictures)
	runner := &quick{plan: p}
	rows := make([]Row, p.size)
	all := newTally(shape)
	for n := range rows {
		rows[n], _ = runner.row(int64(n))
		all.add(rows[n])
	}
	want, err := summarise(*h, all).JSON()
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		parts := make([]*tally, rapid.IntRange(1, 12).Draw(t, "parts"))
		for i := range parts {
			parts[i] = newTally(shape)
		}
		for n := range rows {
			parts[(n*7919)%len(parts)].add(rows[n])
		}
		for len(parts) > 1 { // a random tree of merges
			i := rapid.IntRange(0, len(parts)-1).Draw(t, "into")
			j := rapid.IntRange(0, len(parts)-1).Draw(t, "from")
			if i == j {
				continue
			}
			parts[i].merge(parts[j])
			parts = append(parts[:j], parts[j+1:]...)
		}
		got, err := summarise(*h, parts[0]).JSON()
		require.NoError(t, err)
		assert.Equal(t, string(want), string(got))
	})
}

// Figure R18, on a tenth of the launches: 100,000 rows merge in bounded memory
// into a small page.
func TestMergeOfManyRowsStaysSmall(t *testing.T) {
	p, dir := quickPlan(100_000), t.TempDir()
	_, err := Run(context.Background(), p, Options{Out: dir, Workers: 2, start: quickly(nil)})
	require.NoError(t, err)
	runtime.GC()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	s, err := Merge([]string{dir}, dir, false)
	require.NoError(t, err)
	runtime.GC()
	runtime.ReadMemStats(&after)
	assert.Equal(t, int64(100_000), s.Launches)
	assert.Less(t, after.Sys, uint64(300<<20), "all memory that was ever asked of the system")
	page, err := os.Stat(filepath.Join(dir, PageFile))
	require.NoError(t, err)
	assert.Less(t, page.Size(), int64(1<<20))
	t.Logf("memory from the system %d MB, page %d kB", after.Sys>>20, page.Size()>>10)
}

// The row of the longest names and reasons is within the limit.
func TestRowsAreSmall(t *testing.T) {
	p := quickPlan(1)
	p.Parameters = nil
	for i := range maxParameters {
		p.Parameters = append(p.Parameters, Parameter{Path: fmt.Sprintf("calibration.stage.launch.a_rather_long_key_%d", i), Values: []string{"1"}})
	}
	o := outcome{word: Stopped, why: strings.Repeat("ü reason ", 500)}
	for range p.Parameters {
		o.point.values = append(o.point.values, "123456.789")
	}
	r := p.row(&o)
	assert.LessOrEqual(t, len(appendJSON(nil, p.Columns(), r)), MaxRow)
	assert.LessOrEqual(t, len(appendCSV(nil, r)), MaxRow)
	assert.NotContains(t, r[len(r)-1], "\uFFFD")
}

func FuzzOpenShard(f *testing.F) {
	p, dir := quickPlan(5), f.TempDir()
	rep, err := Run(context.Background(), p, Options{Out: dir, start: quickly(nil)})
	require.NoError(f, err)
	text, err := os.ReadFile(rep.Path)
	require.NoError(f, err)
	f.Add(text)
	f.Add(text[:len(text)/2])
	f.Add([]byte("{}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(t.TempDir(), "shard")
		require.NoError(t, os.WriteFile(path, text, 0o644))
		r, err := openShard(path)
		if err != nil {
			return
		}
		defer r.close()
		for err == nil {
			_, err = r.next()
		}
	})
}
