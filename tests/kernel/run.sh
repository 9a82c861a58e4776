#!/usr/bin/env bash
# usage: run.sh gpiod|bench|lines installed|libgpiod2 CACHE BUILD SOURCE. On a kernel with a simulated
# chip: the test program of io/gpiod, or the whole program on the wired bench: a run, or what it finds
# out at the lines; with the libgpiod that is installed, or with version 2 from Debian's backports.
. "$(dirname "$0")/words.sh"
what=$1 library=$2 cache=$3 build=$4 source=$5
here=$(cd "$(dirname "$0")" && pwd)
need qemu-system-x86_64 busybox cpio make

prepared() { # a part that cannot be had skips the test with its own words
  local status=0
  bash "$@" || status=$?
  [[ $status == 0 ]] || exit $status
}
prepared "$here/kit.sh" "$cache/kit"
case $what in
  gpiod) program=kernel_gpiod ;;
  bench | lines) program=stillrotor ;;
esac
if [[ $library == libgpiod2 ]]; then
  prepared "$here/libgpiod2.sh" "$cache/libgpiod2"
  program=${program}_libgpiod2
  (flock 9 && cmake --build "$build" --target "$program") 9>"$cache/.build.lock" ||
    failed "the build with libgpiod 2 failed"
fi
[[ $program == stillrotor ]] && program=$build/stillrotor || program=$build/bin/$program
if [[ $library == libgpiod2 ]]; then
  libraries=$(ldd "$program")
  [[ $libraries == *libgpiod.so.3* && $libraries != *libgpiod.so.2* ]] ||
    failed "$program does not use libgpiod 2 alone"
fi
if [[ $what != gpiod ]]; then
  # Its time is that of instructions run, 1 ns each: the plant needs a quarter of it, on any computer.
  export CLOCK="-icount shift=0,sleep=off"
  bash "$here/vm.sh" "$cache/kit" "$here/${what}_story.sh" "$program" \
    "$source/configs" "$here/simulated_lines.sh" "$here/on-lines.yaml"
else
  bash "$here/vm.sh" "$cache/kit" "$here/gpiod_story.sh" "$program"
fi
