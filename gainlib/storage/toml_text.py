"""Values as TOML writes them."""

from __future__ import annotations

import datetime
import json
import math
from collections.abc import Mapping

from gainlib.errors import GainError

__all__ = ["toml_key", "toml_value"]


def toml_value(value: object) -> str:
    """A text, a number, a switch, a time, a row or an inline table of them, as it stands behind an equals sign.

    Raises GainError for what TOML has no word for.

    >>> print(toml_value('12" tom'), toml_value(-3.5), toml_value([True, 2]), toml_value({"id": "a-01", "of 5": 4}))
    "12\\" tom" -3.5 [true, 2] { id = "a-01", "of 5" = 4 }
    """
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            # JSON's escapes are TOML's as well, but for DEL.
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
        case int():
            return str(value)
        case float():
            return repr(float(value)) if math.isfinite(value) else "nan" if value != value else f"{value:g}"
        case datetime.datetime() | datetime.date() | datetime.time():
            return value.isoformat()
        case list() | tuple():
            return f"[{', '.join(toml_value(each) for each in value)}]"
        case Mapping():
            inside = ", ".join(f"{toml_key(name)} = {toml_value(each)}" for name, each in value.items())
            return f"{{ {inside} }}" if inside else "{}"
    raise GainError(f"a value is {type(value).__name__}; TOML holds texts, numbers, switches, times, rows and tables.")


def toml_key(name: str) -> str:
    """A name as it stands in front of an equals sign: in quotes where it has to be.

    >>> toml_key("tempo_bpm"), toml_key("lead voice")
    ('tempo_bpm', '"lead voice"')
    """
    plain = name.isascii() and name.replace("-", "a").replace("_", "a").isalnum()
    return name if plain else toml_value(name)
