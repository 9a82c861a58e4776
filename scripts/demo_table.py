#!/usr/bin/env python3
"""Prints what finished runs have to say, as one table: demo_table.py RUN_FOLDER..."""
import json
import math
import pathlib
import sys
import textwrap

# (heading, measure, factor, unit); the measure's unit in result.json is SI.
COLUMNS = [
    ("torque ripple", "torque_ripple", 100.0, "%"),
    ("peak current", "phase_current_peak", 1.0, "A"),
    ("top speed", "speed_max", 30.0 / math.pi, "rpm"),
]


def measured(result, measure, factor, unit):
    """A measure over the whole run, else over the first window it was asked for, else a dash."""
    for entry in result.get("overview", []) + result.get("measures", []):
        if entry["name"] == measure and entry.get("value") is not None:
            return f"{entry['value'] * factor:.3g} {unit}"
    return "-"


def main(folders):
    if not folders:
        print(__doc__, file=sys.stderr)
        return 2
    results = []
    for folder in map(pathlib.Path, folders):
        try:
            results.append(json.loads((folder / "result.json").read_text(encoding="utf-8")))
        except (OSError, ValueError) as error:
            print(f"{folder}: no finished run here ({error})", file=sys.stderr)
            return 4
    rows = [["verdict", *(column[0] for column in COLUMNS)]]
    for result in results:
        rows.append([result["verdict"], *(measured(result, *column[1:]) for column in COLUMNS)])
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    for number, row in enumerate(rows):
        print("   ".join(cell.ljust(width) for cell, width in zip(row, widths)).rstrip())
        if number:
            result, folder = results[number - 1], folders[number - 1]
            for line in (f"{result['bench']}: {result['scenario']}", result["reason"], f"in {folder}"):
                print(textwrap.fill(line, 96, initial_indent="    ", subsequent_indent="      "))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
