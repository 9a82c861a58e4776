"""Mechanical changes to C sources: each a single replacement in one file.

A mutant is the kind of mistake that a compiler accepts: another operator, another constant, two
entries of a table exchanged, a condition turned round, a statement left out. Read from tokens, not
from a parser, so that the sources stay plain C; what does not compile is no mutant.
"""
import dataclasses
import re

TOKEN = re.compile(r"""
    (?P<space>\s+|/\*.*?\*/|//[^\n]*)
  | (?P<text>"(?:\\.|[^"\\])*"|'(?:\\.|[^'\\])*')
  | (?P<number>(?:0[xX][0-9a-fA-F]+|(?:\d+\.\d*|\.\d+|\d+)(?:[eE][-+]?\d+)?)[uUlLfF]*)
  | (?P<word>[A-Za-z_]\w*)
  | (?P<sign><<=|>>=|\+\+|--|->|<<|>>|<=|>=|==|!=|&&|\|\||[-+*/%&|^]=|.)
""", re.VERBOSE | re.DOTALL)

SWAPS = {"+": ["-"], "-": ["+"], "*": ["/"], "/": ["*"], "<": ["<=", ">"], "<=": ["<", ">="],
         ">": [">=", "<"], ">=": [">", "<="], "==": ["!="], "!=": ["=="], "&&": ["||"],
         "||": ["&&"], "+=": ["-="], "-=": ["+="], "|=": ["&="], "&=": ["|="], "<<": [">>"],
         ">>": ["<<"]}
NO_STATEMENTS = {"return", "break", "continue", "case", "default", "goto", "else", "if", "for", "while",
                 "do", "switch", "struct", "enum", "typedef", "static", "const", "extern", "volatile"}


@dataclasses.dataclass(frozen=True)
class Mutant:
    file: str
    line: int
    kind: str
    begin: int
    end: int
    text: str
    was: str
    around: tuple[str, str]  # of the same lines, before and after
    nth: int = 1             # of those alike in this file

    @property
    def name(self):
        return f"{self.file}:{self.line}: {self.change}"

    @property
    def key(self):
        """As name, without the line's number: stays when other lines come and go."""
        return f"{self.file}: {self.change}"

    @property
    def change(self):
        before, after = (" ".join(part.split()) for part in self.around)
        nth = f" ({self.nth})" if self.nth > 1 else ""
        return f"{self.kind}: {before} [{flat(self.was)} -> {flat(self.text) or 'nothing'}] {after}".rstrip() + nth

    def applied(self, source):
        return source[:self.begin] + self.text + source[self.end:]


def flat(text):
    text = " ".join(text.split())
    return text if len(text) <= 60 else text[:57] + "..."


@dataclasses.dataclass(frozen=True)
class Token:
    kind: str
    text: str
    begin: int
    line: int

    @property
    def end(self):
        return self.begin + len(self.text)


def tokens(source):
    line, at, found = 1, 0, []
    while at < len(source):
        match = TOKEN.match(source, at)
        kind = match.lastgroup
        if kind != "space":
            found.append(Token(kind, match.group(), at, line))
        line += match.group().count("\n")
        at = match.end()
    return found


def skipped_lines(source):
    """#include and conditional lines; a #define counts, its value is a constant like another."""
    return {number for number, line in enumerate(source.split("\n"), 1)
            if re.match(r"\s*#\s*(?!define)", line)}


def other_numbers(text):
    match = re.fullmatch(r"(0[xX][0-9a-fA-F]+|[\d.]+(?:[eE][-+]?\d+)?)([uUlLfF]*)", text)
    if match is None:
        return []
    digits, suffix = match.groups()
    if re.fullmatch(r"0[xX][0-9a-fA-F]+|\d+", digits):
        value = int(digits, 0)
        others = [value // 2, value + value // 2] if value > 8 else [value + 1, value - 1]
        return [f"{other}{suffix}" for other in others if other >= 0]
    value = float(digits)
    if value == 0.0:
        return [f"1.0{suffix}"]
    return [f"{value * factor:.9g}".replace("+", "") + ("" if "." in f"{value * factor:.9g}" or "e" in
            f"{value * factor:.9g}" else ".0") + suffix for factor in (0.5, 2.0)]


def is_binary(before):
    return before is not None and (before.kind in ("number", "word") and before.text != "return" or
                                   before.text in (")", "]"))


def mutants_of(file, source):
    """All of one file, in the order of its text."""
    all_tokens = [t for t in tokens(source) if t.line not in skipped_lines(source)]
    found, alike = [], {}

    def add(kind, begin, end, line, text):
        around = (source[source.rfind("\n", 0, begin) + 1:begin], source[end:].split("\n", 1)[0])
        mutant = Mutant(file, line, kind, begin, end, text, source[begin:end], around)
        alike[mutant.change] = alike.get(mutant.change, 0) + 1
        found.append(dataclasses.replace(mutant, nth=alike[mutant.change]))

    starts_statement = True
    for k, token in enumerate(all_tokens):
        before = all_tokens[k - 1] if k > 0 else None
        after = all_tokens[k + 1] if k + 1 < len(all_tokens) else None
        if token.kind == "sign" and token.text in SWAPS:
            if token.text not in "+-*&" or is_binary(before):
                for text in SWAPS[token.text]:
                    add("operator", token.begin, token.end, token.line, text)
            elif token.text == "-":
                add("sign", token.begin, token.end, token.line, "")
        elif token.kind == "number":
            # Array sizes and designators say how many there are, not how much.
            if not (before is not None and before.text == "["):
                for text in other_numbers(token.text):
                    add("constant", token.begin, token.end, token.line, text)
        elif token.text in ("true", "false"):
            add("constant", token.begin, token.end, token.line,
                "false" if token.text == "true" else "true")
        elif token.text in ("if", "while") and after is not None and after.text == "(":
            depth, end = 0, k + 1
            for end in range(k + 1, len(all_tokens)):
                depth += {"(": 1, ")": -1}.get(all_tokens[end].text, 0)
                if depth == 0:
                    break
            inside = source[after.end:all_tokens[end].begin]
            add("condition", after.end, all_tokens[end].begin, token.line, f"!({inside})")
        if token.text == "{" and before is not None and before.text in ("=", ",", "{"):
            items = table_row(all_tokens, k)
            if items:
                (a, b), (c, d) = items
                first, second = source[a:b], source[c:d]
                if first != second:
                    add("table", a, d, token.line, second + source[b:c] + first)
        if starts_statement and token.kind == "word" and token.text not in NO_STATEMENTS:
            end = statement_end(all_tokens, k)
            if end is not None and not declares(all_tokens, k):
                add("statement", token.begin, all_tokens[end].end, token.line, ";")
        starts_statement = token.text in (";", "{", "}", "else") or (
            token.text == ")" and closes_condition(all_tokens, k))
    return found


def table_row(all_tokens, k):
    """The first two entries of {a, b...} where both are plain."""
    row = []
    begin = all_tokens[k].end
    for token in all_tokens[k + 1:k + 40]:
        if token.text in ("{", "(", "[", "="):
            return None
        if token.text in (",", "}"):
            row.append((first_of(all_tokens, begin), token.begin))
            begin = token.end
            if len(row) == 2:
                return row
            if token.text == "}":
                return None
    return None


def first_of(all_tokens, begin):
    return min(token.begin for token in all_tokens if token.begin >= begin)


def statement_end(all_tokens, k):
    depth = 0
    for end in range(k, min(k + 120, len(all_tokens))):
        text = all_tokens[end].text
        if text in ("{", "}", ":"):
            return None
        depth += {"(": 1, ")": -1}.get(text, 0)
        if text == ";" and depth == 0:
            return end
    return None


def declares(all_tokens, k):
    """`float x = ...`: two words in a row, or a word, stars and a word."""
    rest = [t for t in all_tokens[k + 1:k + 4] if t.text != "*"]
    return bool(rest) and rest[0].kind == "word" or all_tokens[k].text.isupper()


def closes_condition(all_tokens, k):
    depth = 0
    for at in range(k, -1, -1):
        depth += {")": 1, "(": -1}.get(all_tokens[at].text, 0)
        if depth == 0:
            return at > 0 and all_tokens[at - 1].text in ("if", "for", "while")
    return False
