#!/usr/bin/env python3
"""A shipped run, twice: the verdict of runs.txt, and the same bytes both times.

  shipped_run.py PROGRAM BENCH SCENARIO VERDICT [once]
  shipped_run.py every-scenario          each shipped scenario stands in runs.txt
"""
import pathlib
import subprocess
import sys
import tempfile

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent
EXIT = {"PASS": 0, "NONE": 0, "FAIL": 1, "INVALID": 3}


def once(program, bench, scenario, folder):
    done = subprocess.run(
        [program, "run", f"configs/benches/{bench}.yaml", f"configs/scenarios/{scenario}.yaml", "--out",
         str(folder)], cwd=ROOT, check=False, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        errors="replace")
    result = folder / "result.json"
    return done, result.read_bytes() if result.is_file() else None


def check_run(program, bench, scenario, verdict, how_often="twice"):
    with tempfile.TemporaryDirectory(prefix="stillrotor-shipped-") as name:
        first, result_1 = once(program, bench, scenario, pathlib.Path(name) / "1")
        print(first.stdout)
        if first.returncode != EXIT[verdict]:
            return f"exit status {first.returncode} is not that of {verdict}"
        if how_often == "once":
            return ""
        _, result_2 = once(program, bench, scenario, pathlib.Path(name) / "2")
        return "" if result_1 == result_2 else "result.json differs from one run to the next"


def check_all_stand_there():
    lines = (HERE / "runs.txt").read_text(encoding="utf-8").splitlines()
    run = {words[2] for words in (line.split("#")[0].split() for line in lines) if words}
    missing = sorted({file.stem for file in (ROOT / "configs/scenarios").glob("*.yaml")} - run)
    return f"no line of runs.txt runs {', '.join(missing)}" if missing else ""


def main():
    complaint = check_all_stand_there() if sys.argv[1:] == ["every-scenario"] else check_run(*sys.argv[1:])
    print(complaint or "as it should be")
    return complaint != ""


if __name__ == "__main__":
    sys.exit(main())
