"""Names and ids that people give: what is allowed, and how one stands in a file's name."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Iterable

from gainlib.errors import GainError
from gainlib.text import describe_value

__all__ = ["file_names", "plain_name", "require_text"]


def require_text(name: str, text: object) -> str:
    """The text, on one line of 1 to 200 characters, or a GainError by name.

    >>> require_text("name", "Ada")
    'Ada'
    """
    if not isinstance(text, str) or not text.strip() or len(text) > 200 or not text.isprintable():
        raise GainError(f"{name} is {describe_value(text)}; give 1 to 200 characters on one line.")
    return text.strip()


def plain_name(text: str) -> str:
    """A text as part of a file's name: letters, digits, dots and hyphens, and a code where anything else was in it.

    >>> plain_name("a-17"), plain_name("../x")
    ('a-17', 'x-d6b96a')
    """
    plain = re.sub(r"[^A-Za-z0-9.-]+", "_", text)[:60].strip("._-")
    return plain if plain == text else f"{plain}-{hashlib.sha256(text.encode()).hexdigest()[:6]}".lstrip("-")


def file_names(ids: Iterable[str]) -> dict[str, str]:
    """For each id a part of a file's name that no other has, also where a and A are one file.

    >>> file_names(["a-17", "b-1", "B-1"])
    {'a-17': 'a-17', 'b-1': 'b-1-3e499e', 'B-1': 'B-1-068205'}
    """
    plain = {each: plain_name(each) for each in ids}
    same = Counter(each.lower() for each in plain.values())
    return {
        learner: f"{name}-{hashlib.sha256(learner.encode()).hexdigest()[:6]}" if same[name.lower()] > 1 else name
        for learner, name in plain.items()
    }
