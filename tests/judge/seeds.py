#!/usr/bin/env python3
"""Does the same sound firmware get the same verdict whatever the noise?

Runs the shipped scenarios of our own firmware (runs.txt) with noise on current sensors and Halls that the
shipped benches do not have, once for each seed. A run whose verdict is PASS must never become FAIL;
INVALID is no false FAIL, and is told.

  seeds.py --program build/release/stillrotor --seeds 20

exit status: 0 no false FAIL; 1 one or more.
"""
import argparse
import concurrent.futures
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent

# Invented, of the size that a data sheet states: rms at the sensor's output, 0.1 A here; Hall edges that
# lie off by a few tenths of a degree.
NOISE = ["sensors.phase_current.noise=2 mV", "sensors.hall.jitter=0.3 deg"]


def planned(firmwares):
    for line in (HERE / "runs.txt").read_text(encoding="utf-8").splitlines():
        words = line.split("#")[0].split()
        if words and words[0] in firmwares and words[3] == "PASS":
            yield words[1], words[2]


def seeded(scenarios, seed):
    """Gives every scenario of a folder this seed."""
    for file in scenarios.glob("*.yaml"):
        text = re.sub(r"(?m)^seed:.*\n", "", file.read_text(encoding="utf-8"))
        file.write_text(re.sub(r"(?m)^(lasts:.*\n)", rf"\1seed: {seed}\n", text, count=1), encoding="utf-8")


def run(program, bench, scenario, out):
    settings = [word for noise in NOISE for word in ("--set", noise)]
    done = subprocess.run([str(program), "run", "--quiet", f"configs/benches/{bench}.yaml", str(scenario), *settings,
                           "--out", str(out)], cwd=ROOT, capture_output=True, check=False, text=True,
                          errors="replace")
    result = out / "result.json"
    if not result.is_file():
        sys.exit(f"{bench} {scenario}: no result (exit {done.returncode})\n{done.stderr[-2000:]}")
    read = json.loads(result.read_text(encoding="utf-8"))
    shutil.rmtree(out)
    return read["verdict"], read["reason"], read["signals_xxh128"]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--program", type=pathlib.Path, required=True)
    parser.add_argument("--firmware", nargs="+", default=["foc", "foc_align", "six_step"])
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--first", type=int, default=0, help="only so many runs of each firmware; 0: all")
    parser.add_argument("--scenarios", nargs="*", default=[], help="only these")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    wanted = parser.parse_args()
    program = wanted.program.resolve()
    runs = [run for one in wanted.firmware for run in list(planned([one]))[:wanted.first or None]
            if not wanted.scenarios or run[1] in wanted.scenarios]

    with tempfile.TemporaryDirectory(prefix="stillrotor-seeds-") as name:
        folders = []
        for seed in range(1, wanted.seeds + 1):
            folders.append(pathlib.Path(name) / str(seed))
            shutil.copytree(ROOT / "configs/scenarios", folders[-1])
            seeded(folders[-1], seed)

        def outcome(job):
            (bench, scenario), folder = job
            return run(program, bench, folder / f"{scenario}.yaml", folder / f"run-{bench}-{scenario}")

        jobs = [(one, folder) for one in runs for folder in folders]
        with concurrent.futures.ThreadPoolExecutor(wanted.jobs) as pool:
            outcomes = list(pool.map(outcome, jobs))

    counts = {"PASS": 0, "FAIL": 0, "INVALID": 0}
    signals = {}
    for ((bench, scenario), folder), (verdict, reason, hashed) in zip(jobs, outcomes):
        counts[verdict] += 1
        signals.setdefault((bench, scenario), set()).add(hashed)
        if verdict != "PASS":
            print(f"{verdict} {bench} {scenario}, seed {folder.name}: {reason}")
    alike = [f"{bench} {scenario}" for (bench, scenario), seen in signals.items() if len(seen) < wanted.seeds]
    if alike:
        print(f"no two seeds may look alike, but some do in {', '.join(alike)}")
    print(f"{len(runs)} runs, {wanted.seeds} seeds each: {counts['PASS']} PASS, {counts['FAIL']} FAIL, "
          f"{counts['INVALID']} INVALID")
    return 1 if counts["FAIL"] or alike else 0


if __name__ == "__main__":
    sys.exit(main())
