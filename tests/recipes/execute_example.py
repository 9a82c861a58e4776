#!/usr/bin/env python3
"""Runs an example that reads a record on a fresh one and holds what it prints against result.json.

  execute_example.py PROGRAM read_record.py|read_record.m
"""
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
PYTHON = "/usr/bin/python3" if os.access("/usr/bin/python3", os.X_OK) else "python3"
SCENARIO = """
scenario: To be read
lasts: 1.5 s
start: {key: on}
timeline: [{at: 0.2 s, throttle: 2 V}]
expect:
  - {measure: torque_mean, from: 1.35 s, max: 100 N m}
  - {measure: phase_current_peak, phase: U, max: 1000 A}
  - {measure: speed_max, max: 10000 rpm}
"""

EXAMPLE = ROOT / "docs/examples" / sys.argv[2]
if EXAMPLE.suffix == ".m":
    READER = ["octave-cli", "--no-init-file"]
    if shutil.which(READER[0]) is None:
        print("skipped: Octave is not installed (octave)")
        sys.exit(77)
else:
    READER = [PYTHON]
    if subprocess.run([PYTHON, "-c", "import h5py"], capture_output=True, check=False).returncode != 0:
        print("skipped: h5py is not installed (python3-h5py)")
        sys.exit(77)
with tempfile.TemporaryDirectory() as name:
    folder = pathlib.Path(name)
    (folder / "s.yaml").write_text(SCENARIO, encoding="utf-8")
    subprocess.run([sys.argv[1], "run", str(ROOT / "configs/benches/orchard-cart-hub-stand-in.yaml"),
                    str(folder / "s.yaml"), "--out", str(folder / "run")], check=True, capture_output=True)
    said = subprocess.run([*READER, str(EXAMPLE), str(folder / "run/record.h5")],
                          check=True, capture_output=True, text=True).stdout
    print(said)
    measured = {m["name"]: m["value"] for m in json.loads((folder / "run/result.json").read_text())["measures"]}
    torque = float(re.search(r"torque over the last tenth: (\S+) N m", said).group(1))
    peak = float(re.search(r"greatest current of phase U: (\S+) A", said).group(1))
    # Points against means of bins, and three decimals.
    wrong = abs(torque - measured["torque_mean"]) > 0.02 * abs(torque) or \
        abs(peak - measured["phase_current_peak"]) > 0.001
    if EXAMPLE.suffix == ".m":
        wrong |= "469 stretches" not in said  # 30,000 points by 64
    else:
        wrong |= "key on" not in said or \
            abs(float(re.search(r"speed: \S+ to (\S+) rad/s", said).group(1)) - measured["speed_max"]) > 0.02
    print(measured)
    sys.exit(wrong)
