"""Numbers, levels, counts, names and the system's reasons as the sentences print them."""

from __future__ import annotations

import os
import unicodedata

__all__ = ["printable", "reason_of"]


def printable(text: str | os.PathLike[str]) -> str:
    """A name as it can be printed anywhere: letters of any script stay, what is no letter of any is replaced.

    Control characters could move a terminal's cursor, and those that turn the direction of writing could make one
    name look like another.

    >>> printable("tief\\x1b[2J\\u202egnal"), printable("ドラム")
    ('tief�[2J�gnal', 'ドラム')
    """
    plain = os.fsencode(text).decode("utf-8", "replace")
    return "".join("�" if unicodedata.category(each) in ("Cc", "Cf", "Zl", "Zp", "Cs") else each for each in plain)


def reason_of(fault: BaseException) -> str:
    """Why the system or a library refused, as it stands within a sentence.

    >>> reason_of(OSError(28, "No space left on device")), reason_of(OSError())
    ('no space left on device', 'oserror')
    """
    text = getattr(fault, "error_string", None) or getattr(fault, "strerror", None) or str(fault)
    return str(text or type(fault).__name__).strip().rstrip(".").lower()
