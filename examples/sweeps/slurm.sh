#!/bin/sh
# A sweep as a Slurm array. One task is one shard; the array says how many.
#
#   holdline sweep PLAN --suggest               how many tasks
#   sbatch --array=0-19 slurm.sh PLAN OUT
#   holdline merge OUT                          when all are through
#
# The same sbatch line again runs what is missing and nothing else. A task that
# comes near its time limit finishes its launch, leaves what it has in OUT, and puts
# itself back into the queue; one that is cancelled leaves what it has and stays
# cancelled.
#
#SBATCH --job-name=holdline-sweep
#SBATCH --cpus-per-task=1
#SBATCH --time=00:30:00
#SBATCH --signal=B:USR1@60
#SBATCH --requeue
#SBATCH --open-mode=append
#SBATCH --output=sweep-%A_%a.log

plan=$1
out=$2

"${HOLDLINE:-holdline}" sweep "$plan" --shard auto -o "$out" &
task=$!
again=
trap 'kill -TERM $task' TERM
trap 'again=yes; kill -USR1 $task' USR1

wait $task
status=$?
while [ $status -gt 128 ] && kill -0 $task 2>/dev/null; do # a signal ended wait, not the task
	wait $task
	status=$?
done
if [ $status -eq 75 ] && [ "$again" ]; then
	scontrol requeue "$SLURM_JOB_ID"
fi
exit $status
