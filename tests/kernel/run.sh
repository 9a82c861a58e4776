#!/usr/bin/env bash
# usage: run.sh installed|other|bench|lines CACHE BUILD SOURCE. On a kernel with a simulated chip: the
# test program with the libgpiod that is installed, or built with version 2 from Debian's backports; or
# the whole program on the wired bench: a run, or what it finds out at the lines.
. "$(dirname "$0")/words.sh"
which=$1 cache=$2 build=$3 source=$4
here=$(cd "$(dirname "$0")" && pwd)
need qemu-system-x86_64 busybox cpio make

prepared() { # a part that cannot be had skips the test with its own words
  local status=0
  bash "$@" || status=$?
  [[ $status == 0 ]] || exit $status
}
prepared "$here/kit.sh" "$cache/kit"
if [[ $which == other ]]; then
  prepared "$here/libgpiod2.sh" "$cache/libgpiod2"
  build=$cache/build2
  cmake -S "$source" -B "$build" -G Ninja -DCMAKE_BUILD_TYPE=Release \
    "-DCMAKE_CXX_FLAGS_RELEASE=-O2 -g1 -DNDEBUG" -DSTILLROTOR_BENCHMARKS=OFF \
    "-DSTILLROTOR_LIBGPIOD_ROOT=$cache/libgpiod2" --log-level=STATUS | grep 'GPIO lines' ||
    failed "the build with libgpiod 2 cannot be configured"
  cmake --build "$build" --target kernel_gpiod || failed "the build with libgpiod 2 failed"
fi
if [[ $which == bench || $which == lines ]]; then
  # Its time is that of instructions run, 1 ns each: the plant needs a quarter of it, on any computer.
  export CLOCK="-icount shift=0,sleep=off"
  bash "$here/vm.sh" "$cache/kit" "$here/${which}_story.sh" "$build/stillrotor" \
    "$source/configs" "$here/simulated_lines.sh" "$here/on-lines.yaml"
else
  bash "$here/vm.sh" "$cache/kit" "$here/gpiod_story.sh" "$build/bin/kernel_gpiod"
fi
