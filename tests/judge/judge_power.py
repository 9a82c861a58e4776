#!/usr/bin/env python3
"""How much of what can go wrong in a firmware do the shipped scenarios catch?

Changes our own firmware mechanically (mutants.py), builds each changed firmware, and runs the shipped
scenarios of runs.txt on it until one says FAIL; first those that caught changes nearby. A mutant whose
machine code is that of the original is no mutant. What survives is printed; reasons for survivors that
no scenario should catch stand in explained.txt. The unchanged firmware has to get the verdicts of
runs.txt first.

exit status: 0 at least --least of the mutants were caught; 1 fewer; 2 wrong request; 77 a compiler is
missing (the test is skipped).
"""
import argparse
import concurrent.futures
import json
import math
import os
import pathlib
import random
import shutil
import subprocess
import sys
import tempfile

import mutants

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent
SECONDS = 300  # for one run; a firmware that hangs is stopped by the program long before
SECONDS_IN_PROCESS = 15

FIRMWARES = {
    "foc": {
        "folder": ROOT / "tests/firmware/foc",
        "mutated": ["angle.c", "current.c", "foc.c", "learn.c", "settings.c", "board.h"],
        "compile": ["cc", "-std=gnu11", "-O2", "-fPIC", "-ffp-contract=off", "-fno-math-errno",
                    "-fvisibility=hidden", f"-I{ROOT}", f"-I{ROOT / 'io/hostfw'}"],
        "link": ["cc", "-shared"],
        "variants": {"foc": [], "foc_align": ["-DALIGN_AT_START"]},
        "suffix": ".so",
    },
    "six_step": {
        "folder": ROOT / "tests/firmware/six_step",
        "mutated": ["main.c", "bridge.c", "lamp.c", "sampling.c", "settings.c", "board.h"],
        "compile": ["avr-gcc", "-mmcu=atmega328p", "-DF_CPU=16000000UL", "-std=gnu11", "-Os"],
        "link": ["avr-gcc", "-mmcu=atmega328p"],
        "variants": {"six_step": []},
        "suffix": ".elf",
    },
}


def planned_runs(variants):
    """(variant, bench, scenario, verdict) in the order of the file: what catches most comes first."""
    runs = []
    for line in (HERE / "runs.txt").read_text(encoding="utf-8").splitlines():
        words = line.split("#")[0].split()
        if words and words[0] in variants:
            runs.append(tuple(words[:4]))
    return runs


def explanations():
    """Mutant's key -> why no scenario can or should tell it."""
    told = {}
    for line in (HERE / "explained.txt").read_text(encoding="utf-8").splitlines():
        if line.strip() and not line.startswith("#"):
            key, _, reason = line.rpartition(" | ")
            told[key.strip()] = reason.strip()
    return told


class Firmware:
    def __init__(self, name, folder):
        self.name = name
        self.plan = FIRMWARES[name]
        self.sources = sorted(file.name for file in self.plan["folder"].glob("*.c"))
        self.runs = planned_runs(self.plan["variants"])
        self.original = folder / "original"
        self.original.mkdir()
        self.binaries = self.build(self.original)

    def mutants(self):
        found = []
        for file in self.plan["mutated"]:
            source = (self.plan["folder"] / file).read_text(encoding="utf-8")
            found += mutants.mutants_of(file, source)
        return found

    def build(self, folder, mutant=None):
        """Variant -> binary, of those whose machine code a mutant changes; None: the compiler refuses.
        Only what the mutant touches is compiled anew."""
        sources = folder / "source"
        shutil.copytree(self.plan["folder"], sources)
        touched = self.sources
        if mutant is not None:
            path = sources / mutant.file
            path.write_text(mutant.applied(path.read_text(encoding="utf-8")), encoding="utf-8")
            if mutant.file in touched:
                touched = [mutant.file]
        binaries = {}
        for variant, options in self.plan["variants"].items():
            objects = {file: self.original / f"{variant}.{file}.o" for file in self.sources}
            changed = mutant is None
            for file in touched:
                made = folder / f"{variant}.{file}.o"
                done = subprocess.run([*self.plan["compile"], *options, "-w", "-c", file, "-o", str(made)],
                                      cwd=sources, capture_output=True, check=False)
                if done.returncode != 0:
                    return None
                if not changed and made.read_bytes() != objects[file].read_bytes():
                    changed = True
                objects[file] = made
            if not changed:
                continue
            binaries[variant] = folder / (variant + self.plan["suffix"])
            done = subprocess.run([*self.plan["link"], *map(str, objects.values()), "-o",
                                   str(binaries[variant])], cwd=sources, capture_output=True, check=False)
            if done.returncode != 0:
                return None
        return binaries


class Experience:
    """Which run caught what: the next change of a place is shown first to what caught its neighbours."""

    def __init__(self):
        self.catches = []  # (file, line, run)

    def add(self, mutant, which):
        self.catches.append((mutant.file, mutant.line, which))

    def ordered(self, mutant, runs):
        worth = {which: -1e-3 * k for k, which in enumerate(runs)}
        for file, line, which in list(self.catches):
            near = math.exp(-abs(line - mutant.line) / 4.0) if file == mutant.file else 0.0
            if which in worth:
                worth[which] += near + 0.01
        return sorted(runs, key=lambda which: -worth[which])


def started(program, binary, bench, scenario, out, settings, seconds):
    try:
        return subprocess.run(
            [str(program), "run", "--quiet", f"configs/benches/{bench}.yaml",
             f"configs/scenarios/{scenario}.yaml", "--set", f"controller.firmware={binary}", *settings,
             "--out", str(out)],
            cwd=ROOT, capture_output=True, check=False, timeout=seconds, text=True, errors="replace").stderr
    except subprocess.TimeoutExpired:
        return "does not end"


def run(program, firmware, binary, bench, scenario, folder, may_hang=False):
    """(verdict, reason, hash of the signals). Firmware for this computer runs within the program, which
    is twice as fast, unless it takes the program down or may hang it; then in its own process."""
    out = folder / "run"
    result = out / "result.json"
    shutil.rmtree(out, ignore_errors=True)
    if firmware.plan["suffix"] == ".so" and not may_hang:
        started(program, binary, bench, scenario, out, ["--set", "controller.in_process=true"],
                SECONDS_IN_PROCESS)
    if not result.is_file():
        shutil.rmtree(out, ignore_errors=True)
        said = started(program, binary, bench, scenario, out, [], SECONDS)
        if not result.is_file():
            sys.exit(f"{bench} {scenario}: no result\n{said[-2000:]}")
    read = json.loads(result.read_text(encoding="utf-8"))
    return read["verdict"], read["reason"], read["signals_xxh128"]


def tried(program, firmware, mutant, good_signals, experience):
    """What became of a mutant: (word, where and why)."""
    with tempfile.TemporaryDirectory(prefix="stillrotor-mutant-") as name:
        folder = pathlib.Path(name)
        binaries = firmware.build(folder, mutant)
        if binaries is None:
            return "does not compile", ""
        if not binaries:
            return "same code", ""
        differ = []
        may_hang = "for (" in mutant.change or "while (" in mutant.change
        for which in experience.ordered(mutant, [r for r in firmware.runs if r[0] in binaries]):
            variant, bench, scenario, expected = which
            verdict, reason, signals = run(program, firmware, binaries[variant], bench, scenario, folder,
                                           may_hang)
            if verdict == "FAIL" and expected != "FAIL":
                experience.add(mutant, which)
                return "caught", f"{scenario}: {reason}"
            if signals != good_signals[which]:
                differ.append(scenario + ("" if verdict == expected else f" ({verdict})"))
        return "survives", "differs in " + ", ".join(differ) if differ else "no run differs by a bit"


def interval(caught, judged):
    """Wilson's 95 % interval of a share."""
    z, share = 1.96, caught / judged
    middle = (share + z * z / (2 * judged)) / (1 + z * z / judged)
    half = z * math.sqrt(share * (1 - share) / judged + z * z / (4 * judged * judged)) / (1 + z * z / judged)
    return middle - half, middle + half


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--program", type=pathlib.Path, required=True)
    parser.add_argument("--firmware", choices=FIRMWARES, required=True)
    parser.add_argument("--count", type=int, default=0, help="so many, drawn by --seed; 0: all")
    parser.add_argument("--first", type=int, default=0, help="only so many runs of the list; 0: all")
    parser.add_argument("--bench", default="", help="only runs on this bench")
    parser.add_argument("--only", default="", help="only mutants whose name has this in it")
    parser.add_argument("--trust", action="store_true", help="do not run mutants that are explained")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--least", type=float, default=0.9, help="share that has to be caught")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    wanted = parser.parse_args()
    wanted.program = wanted.program.resolve()
    compiler = FIRMWARES[wanted.firmware]["compile"][0]
    if shutil.which(compiler) is None:
        print(f"skipped: {compiler} is not installed")
        return 77
    with tempfile.TemporaryDirectory(prefix="stillrotor-mutant-") as name:
        return judged(wanted, Firmware(wanted.firmware, pathlib.Path(name)), pathlib.Path(name))


def judged(wanted, firmware, folder):
    if wanted.bench:
        firmware.runs = [which for which in firmware.runs if which[1] == wanted.bench]
    if wanted.first:
        firmware.runs = firmware.runs[:wanted.first]
    good_signals = {}
    for which in firmware.runs:
        variant, bench, scenario, expected = which
        verdict, reason, signals = run(wanted.program, firmware, firmware.binaries[variant], bench, scenario,
                                       folder)
        good_signals[which] = signals
        if verdict != expected:
            print(f"the unchanged firmware: {bench} {scenario}: {verdict}, not {expected}: {reason}")
            return 1

    everything = firmware.mutants()
    drawn = list(everything)
    random.Random(wanted.seed).shuffle(drawn)
    drawn = [mutant for mutant in drawn if wanted.only in mutant.name]
    explained = explanations()
    experience = Experience()
    counts = {"caught": 0, "survives": 0, "explained": 0, "same code": 0, "does not compile": 0}
    enough = wanted.count or len(drawn)

    def outcome(mutant):
        if counts["caught"] + counts["survives"] + counts["explained"] >= enough:
            return
        if wanted.trust and mutant.key in explained:
            word, why = "survives", ""
        else:
            word, why = tried(wanted.program, firmware, mutant, good_signals, experience)
        if word == "survives" and mutant.key in explained:
            word, why = "explained", explained[mutant.key]
        counts[word] += 1
        if word in ("caught", "survives", "explained"):
            print(f"{word:9} {mutant.name}  | {why}", flush=True)

    with concurrent.futures.ThreadPoolExecutor(wanted.jobs) as pool:
        list(pool.map(outcome, drawn))

    told = counts["caught"] + counts["survives"]
    if told == 0:
        print("no mutant was judged")
        return 1
    share = counts["caught"] / told
    low, high = interval(counts["caught"], told)
    print(f"{firmware.name}: {len(everything)} mutants known; {told} judged, {counts['caught']} caught "
          f"({100 * share:.1f} %; of all of them {100 * low:.0f} to {100 * high:.0f} %, at 95 %), "
          f"{counts['survives']} survive, {counts['explained']} explained, "
          f"{counts['same code']} the same machine code, {counts['does not compile']} do not compile")
    return 0 if share >= wanted.least else 1


if __name__ == "__main__":
    sys.exit(main())
