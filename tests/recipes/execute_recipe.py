#!/usr/bin/env python3
"""Does what a recipe says: execute_recipe.py RECIPE SOURCE_DIR BUILD_DIR

Fenced blocks in the order of the page: a block in sh is executed, in an empty folder, with
STILLROTOR set and the built program on the path; any other block is written to the file that the
line before it names in `code`, if it ends in a colon.
"""
import os
import pathlib
import re
import subprocess
import sys
import tempfile

BLOCK = re.compile(r"(?:`([\w.-]+)`[^\n`]*:\n\n)?```(\w+)\n(.*?)^```$", re.M | re.S)


def main():
    recipe, source, build = (pathlib.Path(argument).resolve() for argument in sys.argv[1:4])
    environment = dict(os.environ, STILLROTOR=str(source), PATH=f"{build}:{os.environ['PATH']}")
    done = 0
    with tempfile.TemporaryDirectory() as folder:
        for name, language, text in BLOCK.findall(recipe.read_text(encoding="utf-8")):
            if language == "sh":
                print(f"--- {text.strip()}", flush=True)
                subprocess.run(["sh", "-e", "-c", text], cwd=folder, env=environment, check=True)
                done += 1
            elif name:
                pathlib.Path(folder, name).write_text(text, encoding="utf-8")
    if done == 0:
        sys.exit(f"{recipe} has nothing to execute")


if __name__ == "__main__":
    main()
