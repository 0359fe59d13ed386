package sweep

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func env(pairs ...string) Lookup {
	m := map[string]string{}
	for i := 0; i < len(pairs); i += 2 {
		m[pairs[i]] = pairs[i+1]
	}
	return func(name string) (string, bool) { v, ok := m[name]; return v, ok }
}

// The variables are those of the contract, reference/sweeps.md 6: Slurm's as
// measured there, the others from memory of the schedulers' manuals.
func TestShardFromScheduler(t *testing.T) {
	slurm := func(id, least, most, step, count string) []string {
		return []string{"SLURM_ARRAY_TASK_ID", id, "SLURM_ARRAY_TASK_MIN", least, "SLURM_ARRAY_TASK_MAX", most, "SLURM_ARRAY_TASK_STEP", step, "SLURM_ARRAY_TASK_COUNT", count}
	}
	for _, x := range []struct {
		name    string
		planned int64
		env     []string
		want    Shard
		fails   string
	}{
		{"slurm from 0", 0, slurm("3", "0", "9", "1", "10"), Shard{4, 10}, ""},
		{"slurm from 1", 0, slurm("3", "1", "10", "1", "10"), Shard{3, 10}, ""},
		{"slurm by steps", 0, slurm("17", "5", "29", "4", "7"), Shard{4, 7}, ""},
		{"slurm with gaps", 0, slurm("3", "1", "7", "1", "3"), Shard{}, "HOLDLINE_INDEXES"},
		{"slurm with gaps and the list", 0, append(slurm("3", "1", "7", "1", "3"), "HOLDLINE_INDEXES", "1,3,7"), Shard{2, 3}, ""},
		{"slurm, a part of the tasks again", 0, append(slurm("7", "7", "9", "2", "2"), "HOLDLINE_INDEXES", "0-19"), Shard{8, 20}, ""},
		{"slurm against the plan", 20, slurm("3", "0", "9", "1", "10"), Shard{}, "10 tasks, but the plan"},
		{"slurm without a range", 0, []string{"SLURM_ARRAY_TASK_ID", "3"}, Shard{}, "set shards in the plan"},
		{"slurm that is not read", 0, []string{"SLURM_ARRAY_TASK_ID", "three"}, Shard{}, `"three" is not a whole number`},
		{"slurm outside of its range", 0, slurm("11", "0", "9", "1", "10"), Shard{}, "gaps"},
		{"kubernetes and the plan", 5, []string{"JOB_COMPLETION_INDEX", "0"}, Shard{1, 5}, ""},
		{"kubernetes and our variable", 0, []string{"JOB_COMPLETION_INDEX", "4", "HOLDLINE_SHARDS", "5"}, Shard{5, 5}, ""},
		{"our variable before the plan", 9, []string{"JOB_COMPLETION_INDEX", "4", "HOLDLINE_SHARDS", "5"}, Shard{5, 5}, ""},
		{"kubernetes without a count", 0, []string{"JOB_COMPLETION_INDEX", "4"}, Shard{}, "does not say how many"},
		{"kubernetes beyond the count", 4, []string{"JOB_COMPLETION_INDEX", "4"}, Shard{}, "out of range"},
		{"nomad", 3, []string{"NOMAD_ALLOC_INDEX", "2"}, Shard{3, 3}, ""},
		{"aws batch", 0, []string{"AWS_BATCH_JOB_ARRAY_INDEX", "2", "AWS_BATCH_JOB_ARRAY_SIZE", "3"}, Shard{3, 3}, ""},
		{"aws batch and the plan", 3, []string{"AWS_BATCH_JOB_ARRAY_INDEX", "0"}, Shard{1, 3}, ""},
		{"cloud run", 0, []string{"CLOUD_RUN_TASK_INDEX", "9", "CLOUD_RUN_TASK_COUNT", "10", "CLOUD_RUN_TASK_ATTEMPT", "2"}, Shard{10, 10}, ""},
		{"grid engine", 0, []string{"SGE_TASK_ID", "7", "SGE_TASK_FIRST", "1", "SGE_TASK_LAST", "9", "SGE_TASK_STEPSIZE", "2"}, Shard{4, 5}, ""},
		{"grid engine outside an array", 0, []string{"SGE_TASK_ID", "undefined", "SGE_TASK_LAST", "undefined"}, Shard{}, "no scheduler says"},
		{"pbs from 0", 4, []string{"PBS_ARRAY_INDEX", "0"}, Shard{1, 4}, ""},
		{"pbs with a list", 0, []string{"PBS_ARRAY_INDEX", "14", "HOLDLINE_INDEXES", "10-20:2"}, Shard{3, 6}, ""},
		{"lsf", 4, []string{"LSB_JOBINDEX", "4"}, Shard{4, 4}, ""},
		{"lsf with its end", 0, []string{"LSB_JOBINDEX", "4", "LSB_JOBINDEX_END", "8"}, Shard{4, 8}, ""},
		{"lsf outside an array", 4, []string{"LSB_JOBINDEX", "0"}, Shard{}, "no scheduler says"},
		{"gnu parallel", 8, []string{"PARALLEL_SEQ", "1"}, Shard{1, 8}, ""},
		{"ci", 0, []string{"CI_NODE_INDEX", "1", "CI_NODE_TOTAL", "4"}, Shard{1, 4}, ""},
		{"ci from 0 is out of range", 0, []string{"CI_NODE_INDEX", "0", "CI_NODE_TOTAL", "4"}, Shard{}, "out of range"},
		{"test runner", 0, []string{"TEST_SHARD_INDEX", "0", "TEST_TOTAL_SHARDS", "4"}, Shard{1, 4}, ""},
		{"two that agree", 0, append(slurm("3", "0", "9", "1", "10"), "TEST_SHARD_INDEX", "3", "TEST_TOTAL_SHARDS", "10"), Shard{4, 10}, ""},
		{"two that do not", 0, append(slurm("3", "0", "9", "1", "10"), "CI_NODE_INDEX", "1", "CI_NODE_TOTAL", "4"), Shard{}, "Slurm .* 4/10, but CI .* 1/4"},
		{"nobody", 4, nil, Shard{}, "no scheduler says"},
		{"our variable out of range", 4, []string{"HOLDLINE_SHARDS", "0", "PBS_ARRAY_INDEX", "0"}, Shard{}, "HOLDLINE_SHARDS=0"},
		{"list without the task", 0, []string{"PBS_ARRAY_INDEX", "5", "HOLDLINE_INDEXES", "1,3"}, Shard{}, "not in HOLDLINE_INDEXES"},
		{"list that names one twice", 0, []string{"PBS_ARRAY_INDEX", "3", "HOLDLINE_INDEXES", "1-4,3"}, Shard{}, "is not read"},
	} {
		task, err := DetectShard("auto", x.planned, env(x.env...))
		if x.fails != "" {
			require.Error(t, err, x.name)
			assert.Regexp(t, x.fails, err.Error(), x.name)
			continue
		}
		if assert.NoError(t, err, x.name) {
			assert.Equal(t, x.want, task.Shard, x.name)
		}
	}
}

func TestShardFromFlag(t *testing.T) {
	array := env("PBS_ARRAY_INDEX", "1", "HOLDLINE_SHARDS", "4", "CLOUD_RUN_TASK_ATTEMPT", "3")
	whole, err := DetectShard("", 9, array)
	require.NoError(t, err)
	assert.Equal(t, Whole, whole.Shard, "without the flag nothing is cut")
	same, err := DetectShard("2/4", 0, array)
	require.NoError(t, err)
	assert.Equal(t, Shard{2, 4}, same.Shard)
	_, err = DetectShard("3/4", 0, array)
	assert.ErrorContains(t, err, "PBS", "flag and scheduler do not agree")
	alone, err := DetectShard("3/4", 0, env())
	require.NoError(t, err)
	assert.Equal(t, Shard{3, 4}, alone.Shard)
	for _, bad := range []string{"0/4", "5/4", "1", "a/b", "1/0", "-1/4", "1/4/4", "1/9999999"} {
		_, err := DetectShard(bad, 0, env())
		assert.Error(t, err, bad)
	}
}

func TestAttemptIsOnlyTold(t *testing.T) {
	first, err := DetectShard("auto", 0, env("CLOUD_RUN_TASK_INDEX", "1", "CLOUD_RUN_TASK_COUNT", "2"))
	require.NoError(t, err)
	again, err := DetectShard("auto", 0, env("CLOUD_RUN_TASK_INDEX", "1", "CLOUD_RUN_TASK_COUNT", "2", "CLOUD_RUN_TASK_ATTEMPT", "5"))
	require.NoError(t, err)
	assert.Equal(t, "5", again.Attempt)
	assert.Equal(t, first.Shard, again.Shard)
}

func TestWorkersKeepToTheirShare(t *testing.T) {
	assert.Equal(t, 3, Workers(3, 8, env("SLURM_CPUS_PER_TASK", "2")), "what is asked for counts")
	assert.Equal(t, 2, Workers(0, 8, env("SLURM_CPUS_PER_TASK", "2", "SLURM_CPUS_ON_NODE", "6")))
	assert.Equal(t, 6, Workers(0, 8, env("SLURM_CPUS_ON_NODE", "6")))
	assert.Equal(t, 8, Workers(0, 8, env("SLURM_CPUS_ON_NODE", "64")), "no more than Go allows itself")
	assert.Equal(t, 8, Workers(0, 8, env("SLURM_CPUS_ON_NODE", "many")))
	assert.Equal(t, 1, Workers(0, 0, env()))
}

func TestShardsCoverEveryLaunchOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		launches := rapid.Int64Range(1, maxLaunches).Draw(t, "launches")
		n := rapid.Int64Range(1, 2000).Draw(t, "n")
		next, least, most := int64(0), launches, int64(0)
		for i := int64(1); i <= n; i++ {
			first, end := Shard{i, n}.span(launches)
			assert.Equal(t, next, first)
			next, least, most = end, min(least, end-first), max(most, end-first)
		}
		assert.Equal(t, launches, next)
		assert.LessOrEqual(t, most-least, int64(1), "even")
	})
}

func FuzzParseIndexes(f *testing.F) {
	f.Add("1,3,7-20:2")
	f.Add("0-999999")
	f.Fuzz(func(t *testing.T, list string) {
		ids, err := parseIndexes(list)
		if err != nil {
			return
		}
		for i := 1; i < len(ids); i++ {
			assert.Less(t, ids[i-1], ids[i])
		}
	})
}
