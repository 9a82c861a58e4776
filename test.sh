#!/usr/bin/env bash
# Builds everything and runs every check that a commit must pass. Ends with CTest's own summary.
set -euo pipefail
STEPS=4
. "$(cd "$(dirname "$0")" && pwd)/scripts/setup.sh"

usage() {
  cat <<'TEXT'
usage: ./test.sh [--long] [--no-sanitizers] [--help]

Packages, then the unit tests under the address and undefined-behaviour sanitizers
(build/asan-ubsan), then all tests (build/release), among them the format, layering and document
checks.

  --long            also the tests labelled `long`: fuzzing, soak, ten thousand cases
  --no-sanitizers   leave the sanitizer stage out
  --help            this text

exit status: 0 all passed; 2 wrong option; 4 this machine could not be set up; else a failure.
TEXT
}
long=no
sanitizers=yes
for option in "$@"; do
  case "$option" in
    --long) long=yes ;;
    --no-sanitizers) sanitizers=no ;;
    -h | --help) usage; exit 0 ;;
    *) usage >&2; exit 2 ;;
  esac
done
cd "$STILLROTOR_ROOT"
export GTEST_COLOR=no

step "Debian packages"
ensure_packages

step "Unit tests under sanitizers (build/asan-ubsan)"
# Left out: what only repeats more slowly what the other build runs (outside solvers, whole runs of
# the program), and the checks of the source tree.
run_sanitized() {
  configure_preset asan-ubsan -DSTILLROTOR_BENCHMARKS=OFF -DSTILLROTOR_TESTS_OF_WHOLE=OFF &&
    build_preset asan-ubsan &&
    ctest --test-dir build/asan-ubsan -j "$(nproc)" --output-on-failure \
      -LE '^(outside|long|house|docs|run)$'
}
sanitized=passed
if [[ "$sanitizers" == yes ]]; then
  run_sanitized || sanitized=failed # the other build's tests are still worth running
else
  say "left out (--no-sanitizers)"
fi

step "Build everything (build/release)"
# Benchmarks: that they compile; who measures asks for -DSTILLROTOR_BENCHMARKS=ON.
configure_preset release -DSTILLROTOR_BENCHMARKS=COMPILE
build_preset release

step "All tests"
[[ "$sanitized" == passed ]] || say "The sanitizer stage FAILED above; this run cannot pass."
select=(-LE '^long$')
[[ "$long" == no ]] || select=()
released=0
ctest --test-dir build/release -j "$(nproc)" --output-on-failure "${select[@]}" || released=$?
[[ "$sanitized" == passed ]] || exit 8
exit "$released"
