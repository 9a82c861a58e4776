#!/usr/bin/env python3
"""How much of what can go wrong in a firmware do the shipped scenarios catch?

Changes our own firmware mechanically (mutants.py), builds each changed firmware, and runs the shipped
scenarios of runs.txt on it until one says FAIL. A mutant whose machine code is that of the original
is no mutant. What survives is printed; reasons for survivors that no scenario should catch stand in
explained.txt. The unchanged firmware has to get the verdicts of runs.txt first.

exit status: 0 at least --least of the mutants were caught; 1 fewer; 2 wrong request; 77 a compiler is
missing (the test is skipped).
"""
import argparse
import concurrent.futures
import json
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

FIRMWARES = {
    "foc": {
        "folder": ROOT / "tests/firmware/foc",
        "mutated": ["angle.c", "current.c", "foc.c", "board.h"],
        "compiler": "cc",
        "build": ["-std=gnu11", "-O2", "-fPIC", "-shared", "-ffp-contract=off", "-fvisibility=hidden",
                  f"-I{ROOT}", f"-I{ROOT / 'io/hostfw'}", "angle.c", "current.c", "foc.c", "host.c"],
        "variants": {"foc": [], "foc_align": ["-DALIGN_AT_START"]},
        "suffix": ".so",
    },
    "six_step": {
        "folder": ROOT / "tests/firmware/six_step",
        "mutated": ["main.c", "bridge.c", "sampling.c", "board.h"],
        "compiler": "avr-gcc",
        "build": ["-mmcu=atmega328p", "-DF_CPU=16000000UL", "-std=gnu11", "-Os", "main.c", "bridge.c",
                  "sampling.c", "words.c"],
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
    """Mutant's name -> why no scenario can or should tell it."""
    told = {}
    for line in (HERE / "explained.txt").read_text(encoding="utf-8").splitlines():
        if line.strip() and not line.startswith("#"):
            name, _, reason = line.partition(" | ")
            told[name.strip()] = reason.strip()
    return told


class Firmware:
    def __init__(self, name):
        self.name = name
        self.plan = FIRMWARES[name]
        self.runs = planned_runs(self.plan["variants"])

    def mutants(self):
        found = []
        for file in self.plan["mutated"]:
            source = (self.plan["folder"] / file).read_text(encoding="utf-8")
            found += mutants.mutants_of(file, source)
        return found

    def build(self, folder, mutant=None):
        """Variant -> binary; None: the compiler refuses."""
        sources = folder / "source"
        shutil.copytree(self.plan["folder"], sources)
        if mutant is not None:
            path = sources / mutant.file
            path.write_text(mutant.applied(path.read_text(encoding="utf-8")), encoding="utf-8")
        binaries = {}
        for variant, options in self.plan["variants"].items():
            binaries[variant] = folder / (variant + self.plan["suffix"])
            done = subprocess.run([self.plan["compiler"], *self.plan["build"], *options, "-w", "-o",
                                   str(binaries[variant])], cwd=sources, capture_output=True, check=False)
            if done.returncode != 0:
                return None
        return binaries


def run(program, binary, bench, scenario, folder):
    """(verdict, reason, hash of the signals)"""
    out = folder / "run"
    shutil.rmtree(out, ignore_errors=True)
    done = subprocess.run(
        [str(program), "run", f"configs/benches/{bench}.yaml", f"configs/scenarios/{scenario}.yaml",
         "--set", f"controller.firmware={binary}", "--out", str(out)],
        cwd=ROOT, capture_output=True, check=False, timeout=SECONDS, text=True, errors="replace")
    if not (out / "result.json").is_file():
        sys.exit(f"{bench} {scenario}: no result (exit {done.returncode})\n{done.stderr[-2000:]}")
    result = json.loads((out / "result.json").read_text(encoding="utf-8"))
    return result["verdict"], result["reason"], result["signals_sha256"]


def tried(program, firmware, mutant, original, good_signals):
    """What became of a mutant: (word, where and why)."""
    with tempfile.TemporaryDirectory(prefix="stillrotor-mutant-") as name:
        folder = pathlib.Path(name)
        binaries = firmware.build(folder, mutant)
        if binaries is None:
            return "does not compile", ""
        changed = {name for name, binary in binaries.items() if binary.read_bytes() != original[name]}
        if not changed:
            return "same code", ""
        same = True
        for variant, bench, scenario, expected in firmware.runs:
            if variant not in changed:
                continue
            verdict, reason, signals = run(program, binaries[variant], bench, scenario, folder)
            if verdict == "FAIL" and expected != "FAIL":
                return "caught", f"{scenario}: {reason}"
            same = same and signals == good_signals[variant, bench, scenario]
        return "survives", "no run differs by a bit" if same else ""


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--program", type=pathlib.Path, required=True)
    parser.add_argument("--firmware", choices=FIRMWARES, required=True)
    parser.add_argument("--count", type=int, default=0, help="so many, drawn by --seed; 0: all")
    parser.add_argument("--first", type=int, default=0, help="only so many runs of the list; 0: all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--least", type=float, default=0.9, help="share that has to be caught")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    wanted = parser.parse_args()
    firmware = Firmware(wanted.firmware)
    if wanted.first:
        firmware.runs = firmware.runs[:wanted.first]
    if shutil.which(firmware.plan["compiler"]) is None:
        print(f"skipped: {firmware.plan['compiler']} is not installed")
        return 77

    with tempfile.TemporaryDirectory(prefix="stillrotor-mutant-") as name:
        folder = pathlib.Path(name)
        binaries = firmware.build(folder)
        original = {name: binary.read_bytes() for name, binary in binaries.items()}
        good_signals = {}
        for variant, bench, scenario, expected in firmware.runs:
            verdict, reason, signals = run(wanted.program, binaries[variant], bench, scenario, folder)
            good_signals[variant, bench, scenario] = signals
            if verdict != expected:
                print(f"the unchanged firmware: {bench} {scenario}: {verdict}, not {expected}: {reason}")
                return 1

    everything = firmware.mutants()
    drawn = list(everything)
    random.Random(wanted.seed).shuffle(drawn)
    explained = explanations()
    counts = {"caught": 0, "survives": 0, "explained": 0, "same code": 0, "does not compile": 0}
    enough = wanted.count or len(drawn)
    with concurrent.futures.ThreadPoolExecutor(wanted.jobs) as pool:
        for begin in range(0, len(drawn), 2 * wanted.jobs):
            if counts["caught"] + counts["survives"] + counts["explained"] >= enough:
                break
            batch = drawn[begin:begin + 2 * wanted.jobs]
            outcomes = pool.map(
                lambda mutant: tried(wanted.program, firmware, mutant, original, good_signals), batch)
            for mutant, (word, why) in zip(batch, outcomes):
                if word == "survives" and mutant.name in explained:
                    word, why = "explained", explained[mutant.name]
                counts[word] += 1
                if word in ("caught", "survives", "explained"):
                    print(f"{word:9} {mutant.name}{'  ' if why else ''}{why}", flush=True)

    judged = counts["caught"] + counts["survives"]
    share = counts["caught"] / judged if judged else 0.0
    print(f"{firmware.name}: {len(everything)} mutants known; {judged} judged, {counts['caught']} caught "
          f"({100 * share:.1f} %), {counts['survives']} survive, {counts['explained']} explained, "
          f"{counts['same code']} the same machine code, {counts['does not compile']} do not compile")
    return 0 if judged and share >= wanted.least else 1


if __name__ == "__main__":
    sys.exit(main())
