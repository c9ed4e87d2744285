"""On which line of a TOML text each value stands.

The standard library's reader keeps no positions, so a text that it has accepted is walked once more here,
counting lines. Every path gets the line of its key, list items the line they begin on: a point in the
middle of a long list is found, which re-reading growing prefixes of the text cannot do.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

__all__ = ["Path", "line_numbers", "line_of"]

Path = tuple[str | int, ...]

_TOKEN = re.compile(
    r"""(?P<skip>[ \t\r]+|\#[^\n]*)
    |(?P<newline>\n)
    |(?P<text>\"{3}(?:\\.|[^\\])*?\"{3,5}|'{3}.*?'{3,5}|"(?:\\.|[^"\\\n])*"|'[^'\n]*')
    |(?P<mark>[\[\]{},=])
    |(?P<bare>[^\s\[\]{},=\#"']+)""",
    re.VERBOSE | re.DOTALL,
)
_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


class _Walk:
    """The tokens of one text, read from left to right, and the lines found so far."""

    def __init__(self, text: str) -> None:
        self.tokens = list(_tokens(text))
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}

    def peek(self) -> tuple[str, str, int]:
        return self.tokens[self.at] if self.at < len(self.tokens) else ("end", "", 0)

    def next(self) -> tuple[str, str, int]:
        token = self.peek()
        self.at += 1
        return token

    def skip_lines(self) -> None:
        while self.peek()[0] == "newline":
            self.at += 1

    def key(self, *ends: str) -> tuple[list[str], int]:
        """A dotted key up to one of the marks, and the line it stands on."""
        parts: list[str] = []
        line = self.peek()[2]
        while self.peek()[1] not in ends and self.peek()[0] != "end":
            kind, text, _ = self.next()
            parts += [_unquote(text)] if kind == "text" else [part for part in text.split(".") if part]
        return parts, line

    def note(self, path: Path, line: int) -> None:
        self.lines.setdefault(path, line)

    def table(self) -> Path:
        """The path that a ``[table]`` or ``[[table]]`` heading opens."""
        self.next()
        many = self.peek()[1] == "["
        if many:
            self.next()
        parts, line = self.key("]")
        self.next()
        if many:
            self.next()
        path = self.resolve(parts[:-1])
        path += (parts[-1],)
        self.note(path, line)
        if many:
            self.counts[path] = self.counts.get(path, -1) + 1
            path += (self.counts[path],)
            self.note(path, line)
        return path

    def resolve(self, parts: list[str]) -> Path:
        """A dotted path with the running number put in where a list of tables is meant."""
        path: Path = ()
        for part in parts:
            path += (part,)
            if path in self.counts:
                path += (self.counts[path],)
        return path

    def pair(self, under: Path, *ends: str) -> None:
        """One ``key = value``."""
        parts, line = self.key("=", *ends)
        self.next()
        path = under
        for part in parts:
            path += (part,)
            self.note(path, line)
        self.value(path)

    def value(self, path: Path) -> None:
        kind, text, line = self.peek()
        self.note(path, line)
        if kind == "mark" and text == "[":
            self.items(path)
        elif kind == "mark" and text == "{":
            self.inline(path)
        else:
            while self.peek()[0] in ("text", "bare"):
                self.next()

    def items(self, path: Path) -> None:
        self.next()
        index = 0
        self.skip_lines()
        while self.peek()[1] != "]" and self.peek()[0] != "end":
            self.value((*path, index))
            index += 1
            self.skip_lines()
            if self.peek()[1] == ",":
                self.next()
                self.skip_lines()
        self.next()

    def inline(self, path: Path) -> None:
        self.next()
        self.skip_lines()
        while self.peek()[1] != "}" and self.peek()[0] != "end":
            self.pair(path, "}")
            self.skip_lines()
            if self.peek()[1] == ",":
                self.next()
                self.skip_lines()
        self.next()


def _tokens(text: str) -> Iterator[tuple[str, str, int]]:
    """(kind, text, line) of everything that is not blank or comment."""
    line, at = 1, 0
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None:
            at += 1
            continue
        if found.lastgroup != "skip":
            yield str(found.lastgroup), found.group(), line
        line += found.group().count("\n")
        at = found.end()


def _unquote(text: str) -> str:
    """A quoted key without its quotes."""
    if text[0] == "'":
        return text[1:-1]
    return re.sub(r"\\(.)", lambda found: _ESCAPES.get(found[1], found[0]), text[1:-1])


def line_numbers(text: str) -> dict[Path, int]:
    """The line, from 1, of every table, key and list item of a TOML text that is already known to be sound.

    Examples
    --------
    >>> line_numbers("[side]\\ntop = [[0, 1],\\n  [2, 3]]")[("side", "top", 1)]
    3
    """
    walk = _Walk(text)
    table: Path = ()
    while walk.peek()[0] != "end":
        if walk.peek()[0] == "newline":
            walk.next()
        elif walk.peek()[1] == "[":
            table = walk.table()
        else:
            walk.pair(table, "\n")
    return walk.lines


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """The line of a path, or of the nearest thing it stands in; None for the text as a whole."""
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None
