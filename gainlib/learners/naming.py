"""Names and ids that people give: what is allowed, and how one stands in a file's name."""

from __future__ import annotations

import hashlib
import re

from gainlib.errors import GainError
from gainlib.text import describe_value

__all__ = ["plain_name", "require_text"]


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
