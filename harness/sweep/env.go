package sweep

import (
	"fmt"
	"sort"
	"strconv"
	"strings"
)

// Lookup reads a variable of the environment, as os.LookupEnv does.
type Lookup func(name string) (string, bool)

// Names of our own variables, for what a scheduler does not say.
const (
	shardsVariable  = "HOLDLINE_SHARDS"  // how many tasks there are
	indexesVariable = "HOLDLINE_INDEXES" // the task numbers, such as 1,3,7-20:2
)

// Task is the place that a scheduler gives this process.
type Task struct {
	Shard   Shard
	From    string // where it was read, for messages
	Attempt string // of the task, for the log only; "" if nobody counts
}

// scheduler says how one scheduler numbers its tasks.
type scheduler struct {
	name    string
	index   string // variable of the task number
	base    int64  // number of the first task
	count   string // variable of the number of tasks, if there is one
	first   string // variables of a range of task numbers
	last    string
	step    string
	none    string // value of index outside an array
	attempt string
}

// schedulers in the order in which they are asked. The variables are those of
// each scheduler's own manual; all but Slurm's and Kubernetes' from memory.
var schedulers = []scheduler{
	{name: "Slurm", index: "SLURM_ARRAY_TASK_ID", count: "SLURM_ARRAY_TASK_COUNT", first: "SLURM_ARRAY_TASK_MIN", last: "SLURM_ARRAY_TASK_MAX", step: "SLURM_ARRAY_TASK_STEP", attempt: "SLURM_RESTART_COUNT"},
	{name: "Kubernetes", index: "JOB_COMPLETION_INDEX"},
	{name: "Nomad", index: "NOMAD_ALLOC_INDEX"},
	{name: "AWS Batch", index: "AWS_BATCH_JOB_ARRAY_INDEX", count: "AWS_BATCH_JOB_ARRAY_SIZE", attempt: "AWS_BATCH_JOB_ATTEMPT"},
	{name: "Cloud Run", index: "CLOUD_RUN_TASK_INDEX", count: "CLOUD_RUN_TASK_COUNT", attempt: "CLOUD_RUN_TASK_ATTEMPT"},
	{name: "Grid Engine", index: "SGE_TASK_ID", base: 1, first: "SGE_TASK_FIRST", last: "SGE_TASK_LAST", step: "SGE_TASK_STEPSIZE", none: "undefined", attempt: "RESTARTED"},
	{name: "PBS", index: "PBS_ARRAY_INDEX"},
	{name: "LSF", index: "LSB_JOBINDEX", base: 1, last: "LSB_JOBINDEX_END", step: "LSB_JOBINDEX_STEP", none: "0"},
	{name: "GNU parallel", index: "PARALLEL_SEQ", base: 1},
	{name: "CI", index: "CI_NODE_INDEX", base: 1, count: "CI_NODE_TOTAL"},
	{name: "test runner", index: "TEST_SHARD_INDEX", count: "TEST_TOTAL_SHARDS"},
}

// DetectShard finds this process's part of a sweep. flag is what the command
// line says: "" for the whole sweep, "I/N", or "auto" for what the scheduler's
// variables say. planned is the plan's own number of tasks, 0 if it says none;
// HOLDLINE_SHARDS overrides it. Two sources that do not agree are an error.
func DetectShard(flag string, planned int64, env Lookup) (Task, error) {
	switch flag {
	case "":
		return Task{Shard: Whole, From: "one piece"}, nil
	case "auto":
		return fromSchedulers(planned, env)
	}
	s, err := ParseShard(flag)
	if err != nil {
		return Task{}, err
	}
	t := Task{Shard: s, From: "--shard"}
	if other, err := fromSchedulers(planned, env); err == nil && other.Shard != s && s.N > 1 {
		return t, fmt.Errorf("--shard %s, but %s makes this task %s: give --shard auto, or start outside of the array", s, other.From, other.Shard)
	}
	return t, nil
}

func fromSchedulers(planned int64, env Lookup) (found Task, err error) {
	planned, err = declaredCount(planned, env)
	if err != nil {
		return found, err
	}
	for i := range schedulers {
		t, ok, err := schedulers[i].task(planned, env)
		switch {
		case err != nil:
			return t, err
		case !ok:
		case found.From == "":
			found = t
		case found.Shard != t.Shard:
			return t, fmt.Errorf("%s makes this task %s, but %s makes it %s: unset one, or give --shard I/N", found.From, found.Shard, t.From, t.Shard)
		}
	}
	if found.From == "" {
		return found, fmt.Errorf("--shard auto, but no scheduler says which task this is: looked for %s; give --shard I/N", indexNames())
	}
	return found, nil
}

func indexNames() string {
	names := make([]string, len(schedulers))
	for i := range schedulers {
		names[i] = schedulers[i].index
	}
	return strings.Join(names, ", ")
}

func declaredCount(planned int64, env Lookup) (int64, error) {
	n, ok, err := whole(env, shardsVariable)
	switch {
	case err != nil:
		return 0, err
	case !ok:
		return planned, nil
	case n < 1 || n > maxShards:
		return 0, fmt.Errorf("%s=%d is out of range: 1 to %d", shardsVariable, n, maxShards)
	}
	return n, nil
}

// whole reads a variable that holds a whole number.
func whole(env Lookup, name string) (n int64, ok bool, err error) {
	if name == "" {
		return 0, false, nil
	}
	text, ok := env(name)
	if !ok || text == "" {
		return 0, false, nil
	}
	n, err = strconv.ParseInt(strings.TrimSpace(text), 10, 64)
	if err != nil {
		return 0, false, fmt.Errorf("%s=%q is not a whole number", name, text)
	}
	return n, true, nil
}

// task reads one scheduler's variables; ok is false where it has not started
// this process.
func (s *scheduler) task(planned int64, env Lookup) (t Task, ok bool, err error) {
	if text, _ := env(s.index); s.none != "" && text == s.none {
		return t, false, nil
	}
	id, ok, err := whole(env, s.index)
	if err != nil || !ok {
		return t, false, err
	}
	t.From = fmt.Sprintf("%s (%s=%d)", s.name, s.index, id)
	t.Attempt, _ = env(s.attempt)
	if t.Shard, err = s.place(id, planned, env); err != nil {
		return t, false, fmt.Errorf("%s: %w", t.From, err)
	}
	return t, true, nil
}

// place turns a task number into a shard: by its rank in the list of task
// numbers, never by the raw number where that list has gaps.
func (s *scheduler) place(id, planned int64, env Lookup) (Shard, error) {
	list, hasList := env(indexesVariable)
	if hasList && list != "" {
		return rankIn(list, id, planned)
	}
	count, hasCount, err := whole(env, s.count)
	if err != nil {
		return Shard{}, err
	}
	shard, hasRange, err := s.ofRange(id, count, hasCount, env)
	switch {
	case err != nil:
		return shard, err
	case hasRange:
		return agree(shard, planned)
	case hasCount:
		return agree(Shard{id - s.base + 1, count}, planned)
	case planned > 0:
		shard = Shard{id - s.base + 1, planned}
		return shard, shard.check()
	}
	return shard, fmt.Errorf("does not say how many tasks there are: set shards in the plan, or %s", shardsVariable)
}

// ofRange ranks a task number within first, last and step.
func (s *scheduler) ofRange(id, count int64, hasCount bool, env Lookup) (shard Shard, ok bool, err error) {
	last, ok, err := whole(env, s.last)
	if err != nil || !ok {
		return shard, false, err
	}
	first, ok, err := whole(env, s.first)
	if err != nil {
		return shard, false, err
	}
	if !ok {
		first = s.base
	}
	step, ok, err := whole(env, s.step)
	if err != nil {
		return shard, false, err
	}
	if !ok || step == 0 {
		step = 1
	}
	if step < 1 || last < first || last-first > maxShards*step {
		return shard, false, fmt.Errorf("its range of task numbers %d to %d by %d is not read", first, last, step)
	}
	n := (last-first)/step + 1
	if id < first || id > last || (id-first)%step != 0 || hasCount && n != count {
		return shard, false, fmt.Errorf("task numbers with gaps: %d tasks from %d to %d; give the list in %s, such as 1,3,7", count, first, last, indexesVariable)
	}
	return Shard{(id-first)/step + 1, n}, true, nil
}

func agree(s Shard, planned int64) (Shard, error) {
	if planned > 0 && planned != s.N {
		return s, fmt.Errorf("has %d tasks, but the plan or %s says %d: for a part of them give all task numbers in %s", s.N, shardsVariable, planned, indexesVariable)
	}
	return s, s.check()
}

// rankIn finds a task number in a declared list.
func rankIn(list string, id, planned int64) (Shard, error) {
	ids, err := parseIndexes(list)
	if err != nil {
		return Shard{}, err
	}
	at := sort.Search(len(ids), func(i int) bool { return ids[i] >= id })
	if at == len(ids) || ids[at] != id {
		return Shard{}, fmt.Errorf("task number %d is not in %s=%s", id, indexesVariable, list)
	}
	return agree(Shard{int64(at) + 1, int64(len(ids))}, planned)
}

// parseIndexes reads a list such as 1,3,7-20:2, in rising order.
func parseIndexes(list string) (ids []int64, err error) {
	bad := fmt.Errorf("%s=%q is not read: write numbers and ranges, such as 1,3,7-20:2, each once", indexesVariable, list)
	for _, part := range strings.Split(list, ",") {
		span, stepText, hasStep := strings.Cut(strings.TrimSpace(part), ":")
		firstText, lastText, isRange := strings.Cut(span, "-")
		first, err := strconv.ParseInt(firstText, 10, 64)
		last, step := first, int64(1)
		if err == nil && isRange {
			last, err = strconv.ParseInt(lastText, 10, 64)
		}
		if err == nil && hasStep {
			step, err = strconv.ParseInt(stepText, 10, 64)
		}
		if err != nil || first < 0 || last < first || step < 1 || (last-first)/step >= maxShards-int64(len(ids)) {
			return nil, bad
		}
		for id := first; id <= last; id += step {
			ids = append(ids, id)
		}
	}
	sort.Slice(ids, func(i, j int) bool { return ids[i] < ids[j] })
	for i := 1; i < len(ids); i++ {
		if ids[i] == ids[i-1] {
			return nil, bad
		}
	}
	return ids, nil
}

// Workers is how many launches run at a time: what is asked for, or one a core
// within what Go and Slurm allow this process.
func Workers(asked, cores int, env Lookup) int {
	if asked > 0 {
		return asked
	}
	for _, name := range []string{"SLURM_CPUS_PER_TASK", "SLURM_CPUS_ON_NODE"} {
		if n, ok, err := whole(env, name); err == nil && ok && n > 0 {
			return max(1, min(cores, int(min(n, 1<<20))))
		}
	}
	return max(1, cores)
}
