"""Numbers, levels, counts, times, names and reasons as the sentences print them."""

from __future__ import annotations

import math
import os
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from gainlib.errors import escaped

__all__ = [
    "channels_in_words", "clock", "counted", "day_in_words", "dbfs", "describe_value", "is_gain", "lasting", "left",
    "level", "listed", "memory", "moment_in_words", "path_text", "plain", "printable", "printed_number", "reason_of",
    "ride_points", "row_of_names", "short_day", "short_names", "shortened", "signed", "spaced", "times",
    "with_decimals",
]  # fmt: skip

LONGEST_PATH = 300
_DECIMAL = re.compile(r"(?<![\w.])(\d+)\.(\d+)(?!\w|\.\d)")


def signed(value: float, digits: int = 1, unit: str = "dB", *, plus: bool = True) -> str:
    """A level as it is printed everywhere: a real minus, a plus where a change is meant, −∞ for silence.

    >>> signed(-6.04), signed(3.0, 0), signed(float("-inf"), unit="dBFS"), signed(-0.04)
    ('−6.0 dB', '+3 dB', '−∞ dBFS', '0.0 dB')
    """
    if math.isinf(value):
        text = "−∞" if value < 0 else ("+∞" if plus else "∞")
    else:
        text = spaced(value, digits)
        if any(each in "123456789" for each in text):
            text = ("−" if value < 0 else "+" if plus else "") + text
    return f"{text} {unit}".rstrip()


def spaced(value: float, digits: int = 0) -> str:
    """A number without its sign; from five digits on a gap stands in front of each three.

    >>> spaced(50_000), spaced(9999.6, 1), spaced(-1_000_000)
    ('50 000', '9999.6', '1 000 000')
    """
    whole, point, rest = f"{abs(value):,.{digits}f}".partition(".")
    return whole.replace(",", " " if len(whole) > len("9,999") else "") + point + rest


def with_decimals(text: str, sign: str) -> str:
    """A sentence with another decimal sign in its numbers, as the table has it in which it stands.

    >>> with_decimals("The peak is −15.2 dBFS at 1:15.250. Read edition 1.2.3 of BS.1770.", ",")
    'The peak is −15,2 dBFS at 1:15,250. Read edition 1.2.3 of BS.1770.'
    """
    return text if sign == "." else _DECIMAL.sub(rf"\1{sign}\2", text)


def dbfs(value: float) -> str:
    """A level in dBFS to a tenth, a plus only where it is over full scale.

    >>> dbfs(-6.04), dbfs(1.0), dbfs(-math.inf)
    ('−6.0 dBFS', '+1.0 dBFS', '−∞ dBFS')
    """
    return signed(value, unit="dBFS", plus=value > 0)


def level(value: float, *, plus: bool = False) -> str:
    """A level to the whole decibel, with a real minus.

    >>> level(-44.3), level(0.2), level(-math.inf), level(3.1, plus=True)
    ('−44', '0', '−∞', '+3')
    """
    return signed(value if math.isinf(value) else round(value), 0, "", plus=plus and not math.isinf(value))


def left(headroom_db: float) -> str:
    """The room below a ceiling: whole decibels, a tenth where less than two are left.

    >>> left(12.4), left(0.43), left(-1e-16), left(math.inf)
    ('12 dB', '0.4 dB', '0 dB', 'all')
    """
    if math.isinf(headroom_db):
        return "all"
    tenths = round(headroom_db, 1)
    return signed(headroom_db, 1 if tenths < 2.0 and tenths % 1 else 0, plus=False)


def is_gain(setting: str) -> bool:
    """Whether a setting, by its name or path, changes a level by its decibels, so that they are told with a plus too.

    A range, a knee, a pad, a drive, a room in hand is an amount, which has no direction.

    >>> is_gain("voice/trim/gain_db"), is_gain("makeup_db"), is_gain("voice/ride/points"), is_gain("knee_db")
    (True, True, True, False)
    """
    return setting.endswith(("gain_db", "makeup_db", "ride/points", "fader/ride"))


def printed_number(value: float, unit: str, step: float = 0.0, *, plus: bool = False) -> str:
    """A number as a sentence prints it, with as many digits as it (or its step) has, up to four.

    >>> printed_number(-30.0, "dBu", 1.0), printed_number(1.5, "dB", 0.5, plus=True), printed_number(50_000, "ohm")
    ('−30 dBu', '+1.5 dB', '50 000 ohm')
    """
    digits = next((count for count in range(4) if _has_digits(value, count) and _has_digits(step, count)), 4)
    return signed(value, digits, unit, plus=plus)


def _has_digits(value: float, digits: int) -> bool:
    return not math.isfinite(value) or abs(round(value, digits) - value) < 1e-9 * max(1.0, abs(value))


def times(count: int) -> str:
    """How often.

    >>> times(1), times(14)
    ('once', '14 times')
    """
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def counted(count: float, thing: str, things: str = "") -> str:
    """How many of a thing; `things` where more of them do not only end in s.

    >>> counted(1, "stem"), counted(0, "stem"), counted(2.5, "point"), counted(2, "pass", "passes")
    ('1 stem', '0 stems', '2.5 points', '2 passes')
    """
    number = f"{count}" if isinstance(count, int) else f"{count:g}"
    return f"{number} {thing if count == 1 else things or f'{thing}s'}"


def clock(seconds: float) -> str:
    """A moment as a clock tells it, to the millisecond.

    >>> clock(75.25), clock(3725.5)
    ('1:15.250', '1:02:05.500')
    """
    thousandths = round(seconds * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    hours, minutes = divmod(minutes, 60)
    head = f"{hours}:{minutes:02}" if hours else f"{minutes}"
    return f"{head}:{rest / 1000:06.3f}"


def lasting(seconds: float) -> str:
    """How long something lasts, as one says it.

    >>> lasting(19.0), lasting(95.4), lasting(1700.0), lasting(72_000.0)
    ('19 s', '95 s', '28 min', '20 h')
    """
    for unit, length in (("h", 3600.0), ("min", 60.0)):
        if seconds >= 2 * length:
            return f"{seconds / length:.{0 if seconds >= 10 * length else 1}f} {unit}".replace(".0 ", " ")
    return f"{seconds:.0f} s"


def channels_in_words(channels: int) -> str:
    """How many channels a recording has, as the trade says it.

    >>> channels_in_words(1), channels_in_words(2), channels_in_words(6)
    ('mono', 'stereo', '6 channels')
    """
    return {1: "mono", 2: "stereo"}.get(channels, f"{channels} channels")


def day_in_words(day: date) -> str:
    """A day as every page and sentence has it, so that no country reads another day.

    >>> day_in_words(date(2027, 1, 5))
    'Tuesday 5 January 2027'
    """
    return f"{day:%A} {short_day(day)} {day.year}"


def short_day(day: date) -> str:
    """A day of these weeks, without its year.

    >>> short_day(date(2027, 1, 5))
    '5 January'
    """
    return f"{day.day} {day:%B}"


def moment_in_words(moment: datetime) -> str:
    """A moment as every page and sentence has it, in the zone that it was written in.

    >>> moment_in_words(datetime.fromisoformat("2027-01-15T18:00+01:00"))
    'Friday 15 January 2027, 18:00 (UTC+01:00)'
    """
    return f"{day_in_words(moment)}, {moment:%H:%M} ({f'{moment:%Z}' or 'UTC'})"


def memory(count: float) -> str:
    """So many bytes as a computer's memory is told.

    >>> memory(800e6), memory(1.36e9), memory(19.5e9)
    ('800 MB', '1.4 GB', '20 GB')
    """
    gigabytes = count / 1e9
    if gigabytes < 1.0:
        return f"{count / 1e6:.0f} MB"
    return f"{gigabytes:.{0 if gigabytes >= 10 else 1}f} GB".replace(".0 ", " ")


def listed(parts: Iterable[str]) -> str:
    """Texts in a row, each once.

    >>> listed(["too high", "too low", "too high"])
    'too high and too low'
    """
    unlike = list(dict.fromkeys(parts))
    return unlike[0] if len(unlike) == 1 else f"{', '.join(unlike[:-1])} and {unlike[-1]}"


def row_of_names(names: Sequence[str], most: int = 40) -> str:
    """Names of people one after the other, as many as may be told; by semicolons where a name holds a comma.

    >>> row_of_names(["Ada Quill", "Bo Marsh", "Cy Fenn"], most=2)
    'Ada Quill, Bo Marsh and 1 more'
    >>> row_of_names(["Quill, Ada", "Marsh, Bo"])
    'Quill, Ada; Marsh, Bo'
    """
    told = ("; " if any("," in each for each in names) else ", ").join(names[:most])
    return f"{told} and {len(names) - most} more" if len(names) > most else told


def ride_points(points: Sequence[Sequence[float]], most: int = 8) -> str:
    """The points of a ride one after the other, the gain and when it is reached, as many as may be told.

    >>> ride_points([(0.5, 0.0), (3.25, 4.5), (8.0, -2.0)], most=2)
    '0.0 dB at 0.5 s, +4.5 dB at 3.25 s and 1 more'
    >>> ride_points([])
    'no points'
    """
    told = [f"{signed(gain_db)} at {printed_number(round(seconds, 2), 's')}" for seconds, gain_db in points]
    return row_of_names(told, most) if told else "no points"


def plain(name: str) -> str:
    """A name as running text has it.

    >>> plain("lead-voice")
    'lead voice'
    """
    return name.replace("-", " ").replace("_", " ")


def shortened(name: str, longest: int = 64) -> str:
    """A name that a line of a table can hold: its beginning and its end, which tell the most.

    >>> shortened("a take with a name that nobody would read to its end", 24)
    'a take with a na…its end'
    """
    if len(name) <= longest:
        return name
    end = longest // 3 - 1
    return f"{name[: longest - end - 1]}…{name[-end:]}"


def short_names(names: Iterable[str], longest: int = 64) -> dict[str, str]:
    """Each name as a line of a table can hold it; those that would then read alike stand whole.

    >>> list(short_names(["voice take 1, evening", "voice take 2, evening", "bass of all evenings"], 12).values())
    ['voice take 1, evening', 'voice take 2, evening', 'bass of …ngs']
    """
    short = {name: shortened(name, longest) for name in names}
    times = Counter(short.values())
    return {name: each if times[each] == 1 else name for name, each in short.items()}


def printable(text: str | os.PathLike[str]) -> str:
    """A name as it can be printed anywhere, on one line: as `gainlib.errors.escaped` has it, odd bytes by their code.

    Control characters could move a terminal's cursor, and those that turn the direction of reading could make one name
    look like another.

    >>> print(printable("tief\\x1b[2J\\u202egnal"), printable("ドラム"))
    tief\\x1b[2J\\u202egnal ドラム
    """
    return escaped(os.fsdecode(text))


def path_text(path: str | os.PathLike[str]) -> str:
    """A file's path as a sentence has it: printable, and where it is very long its start and its end.

    >>> path_text("stems/kick.wav"), len(path_text("x" * 5000))
    ('stems/kick.wav', 241)
    """
    text = printable(path)
    return text if len(text) <= LONGEST_PATH else f"{text[:120]}…{text[-120:]}"


def describe_value(value: object) -> str:
    """A value as a sentence quotes it: short, whatever it is.

    >>> describe_value("loud"), describe_value(None), describe_value(float("nan")), describe_value([1, 2])
    ("'loud'", 'nothing', 'NaN', 'a list')
    """
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        try:
            number = float(value)
        except (OverflowError, ValueError):
            return "a number beyond all bounds"
        return "NaN" if number != number else f"{number:g}".replace("-", "−").replace("inf", "infinite")
    if isinstance(value, str):
        return repr(str(value[:40]) + ("…" if len(value) > 40 else ""))
    kind = {"dict": "table", "ndarray": "array"}.get(type(value).__name__, type(value).__name__)
    return f"{'an' if kind[:1].lower() in 'aeiou' else 'a'} {kind}"


def reason_of(fault: BaseException) -> str:
    """Why the system or a library refused, as it stands within a sentence.

    >>> reason_of(OSError(28, "No space left on device")), reason_of(OSError())
    ('no space left on device', 'oserror')
    """
    text = getattr(fault, "error_string", None) or getattr(fault, "strerror", None) or str(fault)
    return str(text or type(fault).__name__).strip().rstrip(".").lower()
