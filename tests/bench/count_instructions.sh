#!/bin/sh
# Instructions of a second of the model, all threads: what does not depend on who else uses the
# computer. Two lengths of the same run, so that set-up and the quiet start cancel out.
# Usage: count_instructions.sh BENCHMARK NAME [from s, to s, default 1.5 2]
# BENCHMARK: stillrotor_bench_goals; NAME: a part of a run's name there. Needs valgrind.
set -eu
count() {
  out=$(mktemp)
  # Translated code changes behind the back of valgrind, which has to look each time.
  valgrind --tool=callgrind --smc-check=all --callgrind-out-file=/dev/null \
    "$bench" "$1" "$name" once >"$out" 2>&1
  awk '/Collected/ {print $4}' "$out"
  rm -f "$out"
}
bench=$1 name=$2 from=${3:-1.5} to=${4:-2}
few=$(count "$from")
many=$(count "$to")
awk -v n="$name" -v few="$few" -v many="$many" -v from="$from" -v to="$to" \
  'BEGIN {printf "%s: %.0f million instructions a second\n", n, (many - few) / (to - from) / 1e6}'
