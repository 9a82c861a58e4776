#!/usr/bin/env python3
"""Prints what finished runs have to say, as one table: demo_table.py RUN_FOLDER..."""
import json
import math
import pathlib
import sys
import textwrap

# (heading, measure, over the whole run or only where a limit asks for it, factor, unit); the
# measure's unit in result.json is SI. A ripple needs a stretch of steady driving.
COLUMNS = [
    ("torque ripple", "torque_ripple", "measures", 100.0, "%"),
    ("peak current", "phase_current_peak", "overview", 1.0, "A"),
    ("top speed", "speed_max", "overview", 30.0 / math.pi, "rpm"),
]


def text(value):
    return f"{value:,.0f}" if value >= 100.0 else f"{value:,.1f}"


def measured(result, measure, where, factor, unit):
    for entry in result[where]:
        if entry["name"] == measure and entry["value"] is not None:
            # An uncertainty that the digits shown do not hide is shown.
            doubt = entry["uncertainty"] * factor
            spread = f" +- {text(doubt)}" if doubt >= 0.05 else ""
            return f"{text(entry['value'] * factor)}{spread} {unit}"
    return "-"


def print_table(rows):
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    for row in rows:
        print("   ".join(cell.ljust(width) for cell, width in zip(row, widths)).rstrip())


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
    rows = [["run", "verdict", *(column[0] for column in COLUMNS)]]
    for number, result in enumerate(results, 1):
        cells = (measured(result, *column[1:]) for column in COLUMNS)
        rows.append([str(number), result["verdict"], *cells])
    print_table(rows)
    for number, (result, folder) in enumerate(zip(results, folders), 1):
        print(f"\n{number}  {result['bench']}: {result['scenario']}")
        for line in (result["reason"], f"in {folder}"):
            print(textwrap.fill(line, 96, initial_indent="   ", subsequent_indent="   "))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
