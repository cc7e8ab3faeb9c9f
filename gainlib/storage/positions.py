"""Where each entry of a TOML text stands: its line, which the reader of TOML does not tell."""

from __future__ import annotations

import re

from gainlib.storage.foreign import Place, toml_table

__all__ = ["line_of", "lines_of"]


def line_of(lines: dict[Place, int], place: Place) -> int | None:
    """The line of an entry, or of the nearest one around it that the file has.

    >>> line_of({("checks", 0): 3}, ("checks", 0, "reads"))
    3
    """
    while place and place not in lines:
        place = place[:-1]
    return lines.get(place)


def lines_of(text: str) -> dict[Place, int]:
    """The line of each entry of a TOML text that is sound, by its place.

    >>> lines_of('a = [1,\\n 2]\\n[[b]]\\nc.d = "x"')[("b", 0, "c", "d")]
    4
    """
    return _Scan(text).lines


class _Scan:
    """Walks once over a sound TOML text and notes the line of each key and each list item."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.lines: dict[Place, int] = {}
        self.lists: dict[Place, int] = {}
        prefix: Place = ()
        while self._skip():
            if self.text.startswith("[[", self.at):
                self.at += 2
                prefix = self._under(self._key())
                self.lists[prefix] = self.lists.get(prefix, -1) + 1
                prefix = (*prefix, self.lists[prefix])
                self._note(prefix)
                self.at = self.text.index("]]", self.at) + 2
            elif self.text[self.at] == "[":
                self.at += 1
                prefix = self._under(self._key())
                self._note(prefix)
                self.at = self.text.index("]", self.at) + 1
            else:
                self._pair(prefix)

    def _under(self, key: Place) -> Place:
        """The key of a header, the last item put in where a list of tables is on the way."""
        place: Place = ()
        for index, part in enumerate(key):
            place = (*place, part)
            if place in self.lists and index + 1 < len(key):
                place = (*place, self.lists[place])
        return place

    def _note(self, place: Place) -> None:
        line = self.text.count("\n", 0, self.at) + 1
        for end in range(1, len(place) + 1):
            self.lines.setdefault(place[:end], line)

    def _skip(self) -> bool:
        """Go to the next character that says something; False at the end."""
        found = re.compile(r"(?:\s|#[^\n]*)*").match(self.text, self.at)
        self.at = found.end() if found else self.at
        return self.at < len(self.text)

    def _key(self) -> Place:
        parts: list[str] = []
        while True:
            self._skip()
            if self.text[self.at] in "\"'":
                start = self.at
                self._value(())
                parts.append(next(iter(toml_table(f"{self.text[start : self.at]} = 1", "a key"))))
            else:
                bare = re.compile(r"[A-Za-z0-9_-]*").match(self.text, self.at)
                assert bare is not None
                parts.append(bare[0])
                self.at = bare.end()
            self._skip()
            if self.at >= len(self.text) or self.text[self.at] != ".":
                return tuple(parts)
            self.at += 1

    def _pair(self, prefix: Place) -> None:
        self._skip()
        start = self.at
        place = (*prefix, *self._key())
        self.at, after = start, self.at
        self._note(place)
        self.at = self.text.index("=", after) + 1
        self._skip()
        self._value(place)

    def _value(self, place: Place) -> None:
        rest = self.text[self.at]
        if rest in "{[":
            close, index = {"{": "}", "[": "]"}[rest], 0
            self.at += 1
            while self._skip() and self.text[self.at] != close:
                if rest == "{":
                    self._pair(place)
                else:
                    self._note((*place, index))
                    self._value((*place, index))
                    index += 1
                if self._skip() and self.text[self.at] == ",":
                    self.at += 1
            self.at += 1
            return
        forms = r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\]|\\.)*"|\'[^\']*\'|[^,\]}\n#]*'
        found = re.compile(forms, re.DOTALL).match(self.text, self.at)
        assert found is not None
        self.at = found.end()
