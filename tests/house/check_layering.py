#!/usr/bin/env python3
"""Fails on an #include that points the wrong way between the folders: check_layering.py ROOT

Reads the #include lines of plant, io and emulator and holds them against RULES. Rules on folders
hold for everything that an include brings in, through however many headers of the project.
"""
import pathlib
import re
import sys

SUFFIXES = {".hpp", ".cpp", ".h", ".c", ".ipp"}
INCLUDE = re.compile(r'^\s*#\s*include\s*(?:"([^"]*)"|<([^>]*)>|(\S+))')
PARTS = ("plant", "io", "emulator")

# (files under, may not reach, why)
RULES = [
    ("plant/", ("io/", "emulator/"), "the plant is physics only"),
    ("io/", ("plant/", "emulator/"), "the connector's far side does not know the plant"),
    ("emulator/record/", ("emulator/cycle/", "emulator/virtual_time/"),
     "what the record needs comes through emulator/handover"),
    ("emulator/judge/", ("emulator/cycle/", "emulator/virtual_time/"),
     "what the judge needs comes through the record"),
    ("emulator/report/", ("emulator/cycle/", "emulator/virtual_time/"),
     "what the report needs comes through the record"),
    ("emulator/panel/", ("emulator/cycle/", "emulator/virtual_time/"),
     "what the panel needs comes through handover, live and the record"),
    ("emulator/compare/", ("emulator/cycle/", "emulator/virtual_time/", "emulator/bench/"),
     "what is compared comes through records and results"),
    ("emulator/live/", ("emulator/cycle/", "emulator/virtual_time/", "emulator/panel/"),
     "whoever drives and what runs meet in LiveControl"),
] + [
    (f"emulator/{part}/", ("emulator/cli/",), "commands are the top: nothing includes them")
    for part in ("bench", "scenario", "handover", "record", "judge", "report", "compare", "virtual_time",
                 "cycle", "host", "budget", "gate_quality", "calibration", "arrangement", "rehearsal",
                 "live", "panel")
]

# System headers that would give the plant a clock, a file, a thread or a document.
NOT_IN_PLANT = re.compile(r"^(chrono|ctime|time\.h|thread|mutex|atomic|fstream|iostream|cstdio|stdio\.h"
                          r"|filesystem|unistd\.h|(sys|linux|yaml-cpp|nlohmann|fmt|spdlog|boost|CLI|"
                          r"simavr|udunits2)\b.*|hdf5\.h)$")
# Folders of io that hold no backend but what backends on wires share.
COMPONENTS = {"analog"}
NOT_IN_IO = re.compile(r"^(yaml-cpp|nlohmann|CLI)\b.*|hdf5\.h$")


def includes(file):
    """(line number, target, quoted) of each #include; target None: not a plain name."""
    for number, line in enumerate(file.read_text(encoding="utf-8", errors="replace").splitlines(), 1):
        if match := INCLUDE.match(line):
            quoted, angled, other = match.groups()
            yield number, (None if other else quoted or angled), quoted is not None


def backend_of(path):
    """The backend folder a file of io belongs to; empty for io's own files."""
    pieces = path.split("/")
    return pieces[1] if pieces[0] == "io" and len(pieces) > 2 else ""


def generated(root, path, target):
    """A header that the build makes from a template beside the file that includes it."""
    return (root / path).parent.joinpath(target + ".in").is_file()


def main(root):
    files = {}  # path from the root -> its #include lines
    for part in PARTS:
        for file in sorted((root / part).rglob("*")):
            if file.is_file() and file.suffix in SUFFIXES:
                files[file.relative_to(root).as_posix()] = list(includes(file))
    if not files:
        print(f"{root}: no source under {', '.join(PARTS)}; give the root of the repository")
        return 2

    reached = {}  # file -> {project file it reaches: the chain that leads there}

    def reach(path):
        if path not in reached:
            reached[path] = {}
            found = {}
            for _, target, _ in files.get(path, []):
                if target and target.split("/")[0] in PARTS:
                    found.setdefault(target, [target])
                    for far, chain in reach(target).items():
                        found.setdefault(far, [target] + chain)
            reached[path] = found
        return reached[path]

    problems = []
    for path, lines in files.items():
        for number, target, quoted in lines:
            where = f"{path}:{number}: "
            if target is None:
                problems.append(where + "#include of a macro; write the file's name")
                continue
            if target.startswith(".") or "/../" in target:
                problems.append(where + f'"{target}" is relative; include from the repository\'s root')
            elif quoted and target.split("/")[0] not in PARTS and not generated(root, path, target):
                problems.append(where + f'"{target}" is not a path from the repository\'s root; '
                                "a library's header goes into <>")
            system = re.sub(r"\s", "", target)
            if path.startswith("plant/") and NOT_IN_PLANT.match(system):
                problems.append(where + f"<{target}>: the plant has no I/O, no clock, no threads")
            if path.startswith("io/") and NOT_IN_IO.match(system):
                problems.append(where + f"<{target}>: documents are read in emulator, not in io")
            chains = {target: [target]}
            for far, chain in reach(target).items():
                chains.setdefault(far, [target] + chain)
            for far, chain in chains.items():
                for under, forbidden, why in RULES:
                    if path.startswith(under) and far.startswith(forbidden):
                        problems.append(where + f"reaches {' -> '.join(chain)}; {why}")
                mine, theirs = backend_of(path), backend_of(far)
                if mine and theirs and mine != theirs and theirs not in COMPONENTS:
                    problems.append(where + f"backend {mine} reaches backend {theirs} "
                                    f"({' -> '.join(chain)}); share through io/connector.hpp")
                if mine and far.startswith("io/backends"):
                    problems.append(where + f"backend {mine} reaches the table of backends")
    for problem in problems:
        print(problem)
    print(f"{len(files)} files, {len(problems)} forbidden includes")
    return 1 if problems else 0


if __name__ == "__main__":
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        sys.exit(2)
    sys.exit(main(pathlib.Path(sys.argv[1])))
