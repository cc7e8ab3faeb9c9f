"""A valid file with something wrong in it: bytes, lines, values and structure changed, hostile values from a pool.

The same seed makes the same file, so a case that is told can be made again. How many cases a test takes is in the
environment: the suite takes few, `GAINLIB_MUTATED_CASES=10000` as many, and tells what they cost.
"""

from __future__ import annotations

import json
import os
import random
import re
import time
import traceback
from collections.abc import Callable

CASES = "GAINLIB_MUTATED_CASES"

NUMBERS = ["0", "-1", "0.5", "1e-300", "1e308", "-1e308", "1e400", "-1e400", "nan", "inf", "-inf", "true", "-0.0"]
NUMBERS += [str(2**63 - 1), str(2**63), "0x7fffffffffffffff", "2026-01-01", "1979-05-27T07:32:00Z", "1e6", "48000"]
PLAUSIBLE = ["-200.0", "-60.0", "-12.5", "-1.0", "0.0", "0.001", "0.5", "1.0", "3", "16", "24", "99.9", "200.0", "1e5"]
LONG = ["9" * 400, "9" * 5000, "1" + "0" * 400, "[" * 60 + "]" * 60, "{ a = " * 60 + "1" + " }" * 60]
DEEP = ["[" * 30_000, "{ a = " * 10_000, "a." * 12_000 + "a = 1"]
STRUCTURES = [
    "[]", "{}", "[[]]", "[[0, 0]]", "[1, 2, 3]", "[" + "0, " * 3000 + "0]", "{ base = 1e308, plus = [] }",
    '{ reckon = "total", with = [1, { reckon = "total", with = [1, 2] }] }',
    '{ measure = "peak_dbfs", at = "trim" }', '{ wave = "noise", seconds = 60.0 }',
]  # fmt: skip
TEXTS = [
    "", "x", "/etc/passwd", "../../etc/passwd", "{where}", "{", "{0.__class__}", "x" * 5000, "ö" * 150, "media", ".",
    "CON", "media/../x", "a\\b", "=1+1", "a;=cmd", "\u00a0=1", "\u202egnp.exe", "\x1b[2J", "two\nlines", "nul\0", '"',
    "'''", "\u2028", "9999-12-31T23:59:59-14:00", "0001-01-01T00:00:00+14:00", "yesterday", "nan", "−3,5 dB", "main",
    "Noise", "Trim", "ascii \x85", "\u0130\u0131ß", "𝄞",
]  # fmt: skip
ANYTHING = [
    None, True, False, 0, -1, 1.5, 1e308, 10**18, 2**63, 10**400, float("nan"), float("inf"), [], {}, [[]], [0] * 3000,
    {"a": {"a": {}}}, "\ud800", *TEXTS,
]  # fmt: skip

_VALUE = re.compile(r"""(?<==)\s*("[^"\n]*"|-?[\d.]+|\[[^\[\]]*\]|true|false)""")
_NUMBER = re.compile(r"(?<![\w\"'-])-?\d+(?:\.\d+)?(?![\w\"'-])")
_TOKEN = re.compile(r'"[^"\n]*"|-?\d[\d.]*|\btrue\b|\bfalse\b|\bnull\b|[\w.]+(?=\s*=)')


def mutated(content: bytes, seed: int) -> bytes:
    """The file with one to three things changed."""
    rng = random.Random(seed)
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        content = rng.choice(_MUTATIONS)(content, rng)
    return content


def _bytes(content: bytes, rng: random.Random) -> bytes:
    at, length = rng.randrange(len(content) + 1), rng.randint(1, 8)
    new = rng.choice([b"", bytes(rng.randrange(256) for _ in range(length)), content[at : at + length] * 2])
    return content[:at] + new + content[at + length :]


def _cut(content: bytes, rng: random.Random) -> bytes:
    return content[: rng.randrange(len(content) + 1)]


def _lines(content: bytes, rng: random.Random) -> bytes:
    lines = content.split(b"\n")
    at, other, count = rng.randrange(len(lines)), rng.randrange(len(lines)), rng.randint(1, 6)
    how = rng.randrange(4)
    if how == 0:
        del lines[at : at + count]
    elif how == 1:
        lines[at], lines[other] = lines[other], lines[at]
    elif how == 2:
        lines[at:at] = lines[other : other + count]
    else:
        lines[at] = lines[at][: rng.randint(0, len(lines[at]))]
    return b"\n".join(lines)


def _token(content: bytes, rng: random.Random) -> bytes:
    """A value, a name or a number replaced by a hostile one, or by another of the file."""
    text = content.decode("utf-8", "replace")
    tokens = list((_VALUE if rng.random() < 0.5 else _TOKEN).finditer(text))
    if not tokens:
        return content
    one = rng.choice(tokens)
    pools = (NUMBERS, LONG, DEEP, STRUCTURES, [_quoted(rng.choice(TEXTS), rng)], [rng.choice(tokens)[0]])
    new = rng.choice(rng.choices(pools, weights=(4, 1, 0.1, 2, 3, 2))[0])
    return (text[: one.start()] + " " + new + text[one.end() :]).encode("utf-8", "replace")


def _number(content: bytes, rng: random.Random) -> bytes:
    """One number replaced by another that could stand there, so that what is behind the first look is tried as well."""
    text = content.decode("utf-8", "replace")
    numbers = list(_NUMBER.finditer(text))
    if not numbers:
        return content
    one = rng.choice(numbers)
    new = rng.choice((*PLAUSIBLE, rng.choice(numbers)[0]))
    return (text[: one.start()] + new + text[one.end() :]).encode("utf-8", "replace")


def _quoted(text: str, rng: random.Random) -> str:
    return f'"{text}"' if rng.random() < 0.3 else json.dumps(text, ensure_ascii=rng.random() < 0.5)


def _structure(content: bytes, rng: random.Random) -> bytes:
    """In a JSON file one value replaced by another or a hostile one, taken away, put deeper, or an entry renamed."""
    try:
        whole = json.loads(content)
    except (ValueError, RecursionError):
        return _token(content, rng)
    places: list[tuple[dict | list, object]] = []
    todo = [whole]
    while todo:
        each = todo.pop()
        if isinstance(each, dict | list):
            places += [(each, key) for key in (each if isinstance(each, dict) else range(len(each)))]
            todo += each.values() if isinstance(each, dict) else each
    if not places:
        return _token(content, rng)
    owner, key = rng.choice(places)
    how = rng.randrange(6)
    if how == 0:
        del owner[key]
    elif how == 1 and isinstance(owner, dict):
        owner[rng.choice(TEXTS)] = owner.pop(key)
    elif how == 2:
        other, its = rng.choice(places)
        owner[key] = json.loads(json.dumps(other[its])) if _is_there(other, its) else None
    elif how == 3:
        owner[key] = [owner[key]] * rng.choice((1, 2, 50))
    else:
        owner[key] = rng.choice(ANYTHING)
    return json.dumps(whole, indent=rng.choice((None, 1))).encode()


def _is_there(owner: dict | list, key: object) -> bool:
    return key in owner if isinstance(owner, dict) else isinstance(key, int) and key < len(owner)


_MUTATIONS = (_bytes, _cut, _lines, _token, _token, _token, _structure, _structure, _number, _number, _number)


def how_many(few: int) -> int:
    """The number of cases that a test takes: few in the suite, as many as the environment says."""
    return int(os.environ.get(CASES, few))


def run_cases(name: str, cases: int, case: Callable[[int], bool]) -> None:
    """Run so many cases by their numbers, each telling whether its file was usable still; a long run tells its cost.

    What is raised in any is told with its number.
    """
    faults: dict[str, list[int]] = {}
    usable = 0
    slowest, started = (0.0, 0), time.monotonic()
    for number in range(cases):
        before = time.process_time()
        try:
            usable += case(number)
        except Exception as fault:
            last = traceback.extract_tb(fault.__traceback__)[-1]
            said = f"{type(fault).__name__}: {str(fault)[:200]} ({os.path.basename(last.filename)}:{last.lineno})"
            faults.setdefault(said, []).append(number)
        slowest = max(slowest, (time.process_time() - before, number))
    if CASES in os.environ:
        import resource

        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        per_case_ms = (time.monotonic() - started) / max(1, cases) * 1000
        print(
            f"\n{name}: {cases} cases, {usable} usable still, {per_case_ms:.0f} ms each by the clock, slowest "
            f"{slowest[0]:.1f} s of a processor (number {slowest[1]}), peak memory {peak_mb} MB, "
            f"{sum(map(len, faults.values()))} faults"
        )
        assert peak_mb < 1024
    assert not faults, "\n".join(f"{said}: numbers {numbers[:5]}" for said, numbers in faults.items())
