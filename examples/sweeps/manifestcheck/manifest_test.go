package manifestcheck

import (
	"os"
	"slices"
	"strconv"
	"testing"

	batchv1 "k8s.io/api/batch/v1"
	corev1 "k8s.io/api/core/v1"
	"sigs.k8s.io/yaml"
)

// An unknown key, or one of another type, is an error of UnmarshalStrict.
func manifest(t *testing.T) batchv1.Job {
	t.Helper()
	text, err := os.ReadFile("../kubernetes.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var job batchv1.Job
	if err := yaml.UnmarshalStrict(text, &job); err != nil {
		t.Fatal(err)
	}
	return job
}

// What the type says of an indexed job's fields, by the comments of
// k8s.io/api/batch/v1.
func TestManifestIsAnIndexedJob(t *testing.T) {
	job := manifest(t)
	spec, pod := job.Spec, job.Spec.Template.Spec
	if job.APIVersion != "batch/v1" || job.Kind != "Job" {
		t.Errorf("is %s %s", job.APIVersion, job.Kind)
	}
	if spec.CompletionMode == nil || *spec.CompletionMode != batchv1.IndexedCompletion {
		t.Error("completionMode must be Indexed, or no pod has an index")
	}
	if spec.Completions == nil || spec.Parallelism == nil || *spec.Parallelism > *spec.Completions || *spec.Parallelism > 100_000 {
		t.Error("completions and parallelism")
	}
	if spec.BackoffLimitPerIndex == nil || spec.MaxFailedIndexes == nil {
		t.Error("backoffLimitPerIndex is needed for FailIndex, and maxFailedIndexes with it")
	}
	if pod.RestartPolicy != corev1.RestartPolicyNever {
		t.Error("a podFailurePolicy needs restartPolicy Never")
	}
	if pod.TerminationGracePeriodSeconds == nil || *pod.TerminationGracePeriodSeconds < 10 {
		t.Error("a launch under way needs a moment to finish")
	}
}

func TestManifestTellsHowManyShards(t *testing.T) {
	job := manifest(t)
	env := job.Spec.Template.Spec.Containers[0].Env
	at := slices.IndexFunc(env, func(e corev1.EnvVar) bool { return e.Name == "HOLDLINE_SHARDS" })
	if at < 0 || env[at].Value != strconv.Itoa(int(*job.Spec.Completions)) {
		t.Error("HOLDLINE_SHARDS must be the number of completions")
	}
}

// The exit codes of the contract: 2 is never tried again, 3 and 75 are, and a
// disruption does not count.
func TestManifestKnowsTheExitCodes(t *testing.T) {
	job := manifest(t)
	action := map[int32]batchv1.PodFailurePolicyAction{}
	ignored := false
	for _, r := range job.Spec.PodFailurePolicy.Rules {
		if r.OnExitCodes != nil {
			if r.OnExitCodes.Operator != batchv1.PodFailurePolicyOnExitCodesOpIn || *r.OnExitCodes.ContainerName != job.Spec.Template.Spec.Containers[0].Name {
				t.Error("rule of another container")
			}
			for _, code := range r.OnExitCodes.Values {
				action[code] = r.Action
			}
		}
		for _, c := range r.OnPodConditions {
			ignored = ignored || r.Action == batchv1.PodFailurePolicyActionIgnore && c.Type == corev1.DisruptionTarget && c.Status == corev1.ConditionTrue
		}
	}
	want := map[int32]batchv1.PodFailurePolicyAction{2: batchv1.PodFailurePolicyActionFailIndex, 3: batchv1.PodFailurePolicyActionCount, 75: batchv1.PodFailurePolicyActionCount}
	for code, a := range want {
		if action[code] != a {
			t.Errorf("exit code %d: %s, not %s", code, action[code], a)
		}
	}
	if !ignored {
		t.Error("a disruption must not count")
	}
}
