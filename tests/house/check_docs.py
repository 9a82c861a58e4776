#!/usr/bin/env python3
"""Holds the documents against the tree they describe: check_docs.py ROOT

Relative links resolve, headings that links name exist, files and test labels named in `code` exist,
and no file carries a path of somebody's machine or a registry's address.
"""
import pathlib
import re
import sys
import unicodedata

from project_files import project_files

TOP = {"plant", "io", "emulator", "configs", "tests", "docs", "scripts", "cmake"}
LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)(?:\s+\"[^\"]*\")?\)")
FENCE = re.compile(r"^(```|~~~).*?^\1\s*$", re.M | re.S)
CODE = re.compile(r"`([^`\n]+)`")

# Written in pieces, so that this file does not accuse itself.
NOWHERE = [re.compile(pattern) for pattern in (
    r"(?<![\w.])/" + r"(work|root|home/\w+)/", r"\.\./" + "shared", "registry" + r"\.npmjs",
    "pypi" + r"\.org", "crates" + r"\.io", "deb" + r"\.debian\.org", "proxy" + r"\.golang")]


def without_fences(text):
    """The text with fenced blocks blanked, line numbers kept."""
    return FENCE.sub(lambda match: "\n" * match.group(0).count("\n"), text)


def anchors(text):
    """The anchors of a document's headings, as forges make them."""
    found = set()
    for heading in re.findall(r"^#{1,6}\s+(.*?)\s*#*$", without_fences(text), re.M):
        plain = re.sub(r"[`*]|\[([^\]]*)\]\([^)]*\)", r"\1", heading).lower()
        kept = "".join(c for c in plain if c in " -_" or unicodedata.category(c)[0] in "LN")
        found.add(kept.replace(" ", "-"))
    return found


def names_a_file(code):
    """A path of the repository, with no placeholder in it."""
    return code.split("/")[0] in TOP and "/" in code and not re.search(r"[<>\s$|=,:(]|\.\.\.", code)


def labels_of(root):
    """Labels that the tests bear, as their lists have them."""
    found = set()
    for file in (root / "tests").rglob("CMakeLists.txt"):
        text = file.read_text(encoding="utf-8")
        for words in re.findall(r"LABELS\s+\"?([a-z_; ]+)|house_check\(\w+ \"?([a-z;]+)", text):
            found |= set(re.split(r"[; ]+", " ".join(words).strip()))
    return found


def problems_of(root, path, labels):
    text = (root / path).read_text(encoding="utf-8")
    prose = without_fences(text)
    for number, line in enumerate(prose.splitlines(), 1):
        for target in LINK.findall(CODE.sub("", line)):
            if re.match(r"[a-z][a-z0-9+.-]*:", target):
                continue
            name, _, anchor = target.partition("#")
            file = (root / path).parent / name if name else root / path
            if not file.exists():
                yield f"{path}:{number}: link to {target}, which is not there"
            elif anchor and file.suffix == ".md" and anchor not in anchors(
                    file.read_text(encoding="utf-8")):
                yield f"{path}:{number}: link to {target}; {name or path} has no such heading"
        for code in CODE.findall(line):
            for label in re.split(r"\|", "".join(re.findall(r'^ctest.* -L "?([a-z_|]+)', code))):
                if label and labels and label not in labels:
                    yield f"{path}:{number}: names the label {label}, which no test bears"
            if names_a_file(code) and not (any(root.glob(code.rstrip("/"))) or any(root.glob(code + ".*"))):
                yield f"{path}:{number}: names {code}, which is not there"


def main(root):
    problems, documents, labels = [], 0, labels_of(root)
    for path in project_files(root):
        try:
            text = (root / path).read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        for number, line in enumerate(text.splitlines(), 1):
            for pattern in NOWHERE:
                if match := pattern.search(line):
                    problems.append(f"{path}:{number}: contains {match.group(0)!r}; a committed file "
                                    "names no machine's path and no registry")
        if path.suffix == ".md":
            documents += 1
            problems += problems_of(root, path, labels)
    if documents == 0:
        print(f"{root}: no document found; give the root of the repository")
        return 2
    for problem in problems:
        print(problem)
    print(f"{documents} documents, {len(problems)} problems")
    return 1 if problems else 0


if __name__ == "__main__":
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        sys.exit(2)
    sys.exit(main(pathlib.Path(sys.argv[1]).resolve()))
