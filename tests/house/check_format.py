#!/usr/bin/env python3
"""Fails where clang-format would change a C or C++ file: check_format.py ROOT

Exit status 77 (SKIPPED): no clang-format 14, whose output the project's format is.
"""
import pathlib
import re
import shutil
import subprocess
import sys

from project_files import project_files

SKIPPED = 77


def formatter():
    for name in ("clang-format-14", "clang-format"):
        if tool := shutil.which(name):
            version = subprocess.run([tool, "--version"], capture_output=True, text=True).stdout
            if re.search(r"version 14\.", version):
                return tool
    return None


def main(root):
    tool = formatter()
    if tool is None:
        print("SKIPPED: clang-format 14 is not here; other versions format differently. "
              "Install the Debian 12 package clang-format.")
        return SKIPPED
    files = [path for path in project_files(root) if path.suffix in {".hpp", ".cpp", ".h", ".c"}]
    if not files:
        print(f"{root}: no C++ file found; give the root of the repository")
        return 2
    checked = subprocess.run([tool, "--dry-run", "--Werror", "--style=file", *map(str, files)],
                             cwd=root, capture_output=True, text=True)
    wrong = sorted(set(re.findall(r"^(\S+?):\d+:\d+: error: code should be clang-formatted",
                                  checked.stderr, re.M)))
    for path in wrong:
        print(f"{path}: not formatted; clang-format -i {path}")
    if checked.returncode and not wrong:
        print(checked.stderr)
    print(f"{len(files)} files, {len(wrong)} not formatted")
    return 1 if checked.returncode else 0


if __name__ == "__main__":
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        sys.exit(2)
    sys.exit(main(pathlib.Path(sys.argv[1]).resolve()))
