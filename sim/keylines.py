"""Where in a TOML file does each key stand?

The standard library's reader gives values without places; an error message needs the line. This scanner
walks text that has already been read without error and notes the line of every key.
"""

from __future__ import annotations

import bisect
import re
import tomllib

from sim.keyplace import join

_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}|' r"'''.*?'{3,5}|" r'"(?:\\.|[^"\\])*"|' r"'[^']*'",
    re.DOTALL,
)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BARE_VALUE = re.compile(r"[^,\]}#\n]+")
_GAP = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")


def key_lines(text: str) -> dict[str, int]:
    """Return the line of every key, table and array element.

    Parameters
    ----------
    text : valid TOML, that is, text which `tomllib` has read without error

    Returns
    -------
    dict
        From a path such as ``blade.mass_factor`` or ``entries[2].stack`` to its line, counted from 1.
        An array of tables is named by its first header, each of its tables by its own.
    """
    return _Scanner(text).scan()


class _Scanner:
    """One walk over the text; ``at`` is the place, ``table`` the path of the open table."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.table = ""
        self.lines: dict[str, int] = {}
        self.counts: dict[str, int] = {}
        self.starts = [0, *(m.end() for m in re.finditer("\n", text))]

    def scan(self) -> dict[str, int]:
        self._skip(_GAP)
        while self.at < len(self.text):
            before = self.at
            if self.text[self.at] == "[":
                self._header()
            else:
                self._pair(self.table)
            self._skip(_GAP)
            if self.at == before:
                break
        return self.lines

    def _skip(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:
            return ""
        self.at = found.end()
        return found.group()

    def _take(self, mark: str) -> bool:
        if self.text.startswith(mark, self.at):
            self.at += len(mark)
            return True
        return False

    def _note(self, path: str, start: int) -> None:
        self.lines.setdefault(path, bisect.bisect_right(self.starts, start))

    def _header(self) -> None:
        start = self.at
        is_array = self._take("[[")
        if not is_array:
            self._take("[")
        path = ""
        parts = self._key()
        for position, part in enumerate(parts):
            path = join(path, part)
            self._note(path, start)
            is_last = position == len(parts) - 1
            if is_last and is_array:
                self.counts[path] = self.counts.get(path, 0) + 1
            if path in self.counts:
                path = join(path, self.counts[path] - 1)
                self._note(path, start)
        self._take("]]" if is_array else "]")
        self.table = path

    def _key(self) -> list[str]:
        parts = []
        while True:
            self._skip(_SPACE)
            quoted = self._skip(_STRING)
            parts.append(tomllib.loads(f"k = {quoted}")["k"] if quoted else self._skip(_BARE_KEY))
            self._skip(_SPACE)
            if not self._take("."):
                return parts

    def _pair(self, table: str) -> None:
        start = self.at
        path = table
        for part in self._key():
            path = join(path, part)
            self._note(path, start)
        self._take("=")
        self._skip(_SPACE)
        self._value(path)

    def _value(self, path: str) -> None:
        if self._take("["):
            self._array(path)
        elif self._take("{"):
            self._inline_table(path)
        elif not self._skip(_STRING):
            self._skip(_BARE_VALUE)

    def _array(self, path: str) -> None:
        index = 0
        self._skip(_GAP)
        while self.at < len(self.text) and not self._take("]"):
            element = join(path, index)
            before = self.at
            self._note(element, self.at)
            self._value(element)
            self._next_item()
            index += 1
            if self.at == before:
                return

    def _inline_table(self, path: str) -> None:
        self._skip(_GAP)
        while self.at < len(self.text) and not self._take("}"):
            before = self.at
            self._pair(path)
            self._next_item()
            if self.at == before:
                return

    def _next_item(self) -> None:
        self._skip(_GAP)
        self._take(",")
        self._skip(_GAP)
