#!/usr/bin/env python3
"""Counts what the co-processor's halves cost: count_cycles.py ELF CORE HALF=STEP,CALL...

Runs the program under qemu-arm instruction by instruction, takes each instruction's cycles from the
core's manual, and holds two things against budgets: each half's cost of a step in the mean of the
64 dearest that follow one another, and its longest call. Memory without wait states. Exit status 77 (SKIPPED): no emulator or no disassembler.

Cycles, from memory of the manuals (ARM DDI 0484, Cortex-M0+, single-cycle multiplier; ARM DDI 0439,
Cortex-M4). Where the M4's depend on what stands beside an instruction, the most.
"""
import re
import shutil
import subprocess
import sys

SKIPPED = 77


def registers(operands):
    count = 0
    for part in re.search(r"\{(.*)\}", operands).group(1).split(","):
        low, _, high = part.strip().partition("-")
        number = {"sp": 13, "lr": 14, "pc": 15, "sl": 10, "fp": 11, "ip": 12, "r9": 9}
        index = lambda name: number.get(name) or int(name[1:])
        count += index(high) - index(low) + 1 if high else 1
    return count


def cycles(core, name, operands):
    """(when the next instruction follows, when it jumps)"""
    m4 = core == "m4"
    base = name.split(".")[0]
    jump = 3 if m4 else 2
    if base in ("push", "pop", "ldmia", "stmia", "ldmdb", "stmdb", "ldm", "stm"):
        n = 1 + registers(operands)
        return n, n + (jump if m4 else 2)
    if base in ("ldr", "ldrb", "ldrh", "ldrsh", "ldrsb", "str", "strb", "strh"):
        return 2, 2 + jump
    if base in ("ldrd", "strd"):
        return 3, 3
    if base in ("udiv", "sdiv"):
        return 12, 12
    if base in ("bl", "blx"):
        return (4, 4) if m4 else (3, 3)
    if base.startswith("b") and base not in ("bic", "bics", "bfi", "bfc", "bkpt"):
        return 1, jump
    if base in ("cbz", "cbnz"):
        return 1, jump
    if base in ("smull", "umull", "mla", "mls", "smlal", "umlal"):
        return 2, 2
    return 1, jump


def main(elf, core, *budgets):
    qemu, objdump = shutil.which("qemu-arm"), shutil.which("arm-none-eabi-objdump")
    if not qemu or not objdump:
        print("SKIPPED: needs qemu-arm (package qemu-user) and arm-none-eabi-objdump")
        return SKIPPED
    budget = {}
    for text in budgets:
        half, _, numbers = text.partition("=")
        budget[half] = [float(x) for x in numbers.split(",")]

    cost, size, marks = {}, {}, {}
    listing = subprocess.run([objdump, "-d", elf], capture_output=True, text=True, check=True).stdout
    for line in listing.splitlines():
        if symbol := re.match(r"([0-9a-f]+) <mark_(\w+)>:", line):
            marks[int(symbol[1], 16)] = symbol[2]
        elif code := re.match(r"\s+([0-9a-f]+):\t((?:[0-9a-f]{4} ?)+)\s*\t(\S+)\s*(.*)", line):
            address = int(code[1], 16)
            size[address] = 2 * len(code[2].split())
            cost[address] = cycles(core, code[3], code[4])

    run = subprocess.Popen([qemu, "-singlestep", "-d", "exec,nochain", elf],
                           stderr=subprocess.PIPE, text=True)
    trace = re.compile(r"\[[0-9a-f]+/([0-9a-f]+)/")
    calls = {half: [] for half in budget}
    steps = {half: [] for half in budget}  # what each step cost
    count = 0
    half, last, total, known = None, None, 0, False
    for line in run.stderr:
        found = trace.search(line)
        if not found:
            continue
        address = int(found[1], 16)
        if last is not None:
            follows, jumps = cost[last]
            total += follows if address == last + size[last] else jumps
        if address in marks:
            if half in calls and count > 64:  # after the start
                calls[half].append(total)
                steps[half][-1] += total
            half, total = marks[address], 0
            if half == "step":
                count += 1
                for sums in steps.values():
                    sums.append(0)
        last = address
    status = run.wait()
    if status:
        print(f"{elf}: ended with status {status}: the plant left its range")
        return 1
    bad = 0
    for half, (step_most, call_most) in budget.items():
        if not calls[half]:
            print(f"{half}: no call was counted")
            return 1
        sums = steps[half][64:]
        dearest = max(sum(sums[n:n + 64]) for n in range(len(sums) - 63)) / 64
        mean, longest = sum(sums) / len(sums), max(calls[half])
        over = dearest > step_most or longest > call_most
        bad += over
        print(f"{core} {half}: a step {mean:.0f} cycles, in the dearest stretch {dearest:.0f} "
              f"(budget {step_most:g}), longest call {longest} (budget {call_most:g})"
              f"{'   OVER' if over else ''}")
    return 1 if bad else 0


if __name__ == "__main__":
    if len(sys.argv) < 4:
        print(__doc__, file=sys.stderr)
        sys.exit(2)
    sys.exit(main(*sys.argv[1:]))
