#!/usr/bin/env python3
"""Instructions of a PWM period of a benchmark's run, by the part of the source they come from.

Two lengths of the same run, so that set-up cancels out; callgrind, all threads. The clearing of
memory is left out: valgrind counts it many times what it costs.
A line belongs to the file that it stands in, also where the compiler has put it into another
function; the C++ library's belong to the function they were put into.

Usage: split_instructions.py BENCHMARK NAME PWM_HZ [from s, to s, default 1.2 1.5]
BENCHMARK: stillrotor_bench_goals; NAME: a part of a run's name there. Needs valgrind.
"""
import collections
import re
import subprocess
import sys
import tempfile

CHIP = "io/mcu/cortexm/"
CORE = r"(cpu|code|op|decode|execute|translat|float_arithmetic|bus|exceptions|core|system_control|systick|cycle_counter|timing)"
# The first that fits the file, else the first that fits the function. What has neither a file nor a
# name and lies in no library's file is the core's translation.
PARTS = [
    ("chip: core, translated", None, r"^0x[0-9a-f]+ \[\?\?\?\]"),
    ("chip: core", CHIP + CORE, r"cortexm::(Cpu|Op|Code|Bus|Exceptions|Core|translate)\b|HostCode|Xbyak::"),
    ("chip: scheduler", CHIP + r"scheduler", None),
    ("chip: edge of the chip", CHIP + r"(controller|chip)", r"CortexController|cortexm::Chip"),
    ("chip: peripherals", CHIP, r"cortexm"),
    ("plant", r"plant/", r"plant::"),
    ("recording", r"emulator/record/", r"Record|H5|XXH|pthread_getspecific"),
    ("world, sampler, scheduler", r"emulator/", r"stillrotor::"),
]
NOT_COUNTED = r"memset"


def part_of(file, function):
    for which, text in ((1, file), (2, function)):
        for part in PARTS:
            if part[which] and re.search(part[which], text):
                return part[0]
    return "rest"


def count(benchmark, name, seconds):
    with tempfile.NamedTemporaryFile() as out:
        # Translated code changes behind the back of valgrind, which has to look each time.
        subprocess.run(["valgrind", "--tool=callgrind", "--smc-check=all",
                        "--callgrind-out-file=" + out.name, benchmark, str(seconds), name,
                        "once"], check=True, capture_output=True)
        listing = subprocess.run(["callgrind_annotate", "--threshold=100", "--auto=no", out.name],
                                 check=True, capture_output=True, text=True).stdout
    found = collections.Counter()
    for line in listing.splitlines():
        row = re.match(r"\s*([\d,]+) \(\s*[\d.]+%\)\s+([^:]*):(.*)", line)
        if row and not re.search(NOT_COUNTED, line):
            found[part_of(row[2], row[3])] += int(row[1].replace(",", ""))
    return found


def main():
    benchmark, name, pwm_Hz = sys.argv[1], sys.argv[2], float(sys.argv[3])
    begin, end = (float(s) for s in (sys.argv[4:6] or (1.2, 1.5)))
    few, many = count(benchmark, name, begin), count(benchmark, name, end)
    periods = (end - begin) * pwm_Hz
    each = {part: (many[part] - few[part]) / periods for part in many}
    for part, instructions in sorted(each.items(), key=lambda item: -item[1]):
        print(f"{instructions:10,.0f}  {part}")
    print(f"{sum(each.values()):10,.0f}  in all, a period of {1e6 / pwm_Hz:g} us")


if __name__ == "__main__":
    if len(sys.argv) not in (4, 6):
        sys.exit(__doc__)
    main()
