"""Numbers, counts, names and reasons as sentences print them."""

from __future__ import annotations

import math

import pytest

from gainlib import text as words


@pytest.mark.parametrize(
    ("value", "options", "text"),
    [
        (-6.04, {}, "−6.0 dB"),
        (6.0, {"digits": 0}, "+6 dB"),
        (6.0, {"plus": False, "unit": "dBFS"}, "6.0 dBFS"),
        (-0.04, {}, "0.0 dB"),
        (0.04, {}, "0.0 dB"),
        (-math.inf, {"unit": "dBFS"}, "−∞ dBFS"),
        (math.inf, {"plus": False}, "∞ dB"),
        (14.0, {"digits": 0, "unit": "", "plus": False}, "14"),
        (50_000.0, {"digits": 0, "unit": "ohm", "plus": False}, "50 000 ohm"),
        (-9999.96, {"unit": ""}, "−10 000.0"),
        (9999.4, {"digits": 0, "unit": "Hz", "plus": False}, "9999 Hz"),
        (1_234_567.0, {"digits": 0, "unit": ""}, "+1 234 567"),
    ],
)
def test_levels_are_printed_with_a_real_minus(value, options, text):
    assert words.signed(value, **options) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(-44.3, "−44"), (0.4, "0"), (-0.4, "0"), (0.6, "1"), (-math.inf, "−∞"), (math.inf, "∞")],
)
def test_a_level_to_the_whole_decibel(value, text):
    assert words.level(value) == text
    assert words.level(value, plus=True) == (f"+{text}" if text == "1" else text)


def test_the_room_below_a_ceiling_has_tenths_where_little_is_left():
    assert [words.left(each) for each in (1.96, 1.94, 1.0, -0.3, 2.6)] == ["2 dB", "1.9 dB", "1 dB", "−0.3 dB", "3 dB"]


@pytest.mark.parametrize(
    ("count", "given", "text"),
    [
        (1, ("stem",), "1 stem"),
        (0, ("stem",), "0 stems"),
        (1_234_567, ("sample",), "1234567 samples"),
        (1.0, ("point",), "1 point"),
        (0.5, ("point",), "0.5 points"),
        (2, ("pass", "passes"), "2 passes"),
    ],
)
def test_things_are_counted(count, given, text):
    assert words.counted(count, *given) == text


def test_moments_read_as_a_clock_tells_them():
    given = [0.0, 59.9996, 60.0, 3599.9996, 86_400.5]
    assert [words.clock(each) for each in given] == ["0:00.000", "1:00.000", "1:00.000", "1:00:00.000", "24:00:00.500"]


def test_a_number_has_as_many_digits_as_it_or_its_step():
    given = [(3.0, "dB", 0.25), (-30.0, "dBu", 1.0), (1 / 3, "V", 0.0), (2.0, "LU", 0.0), (math.inf, "dB", 1.0)]
    assert [words.printed_number(*each) for each in given] == ["3.00 dB", "−30 dBu", "0.3333 V", "2 LU", "∞ dB"]
    assert words.printed_number(3.0, "dB", 0.25, plus=True) == "+3.00 dB"


def test_names_of_any_kind_can_be_printed():
    assert words.printable(b"a\xff") == words.printable("a\udcff") == r"a\udcff"
    assert words.printable("a\nb\u200fc\u2028d\x9b") == r"a\nb\u200fc\u2028d\x9b"
    assert words.printable("\u0645\u06cc\u200c\u062e") == "\u0645\u06cc\u200c\u062e"  # spelt with a joiner
    assert words.printable("Zoë ドラム 🎙\u00a0") == "Zoë ドラム 🎙\u00a0"


def test_any_value_is_quoted_in_short():
    given = ["x" * 50, 10**400, -2.5, True, None, {}, math.inf, object()]
    assert [words.describe_value(each) for each in given] == [
        f"'{'x' * 40}…'", "a number beyond all bounds", "−2.5", "true", "nothing", "a table", "infinite", "an object",
    ]  # fmt: skip


def test_a_reason_stands_within_a_sentence():
    class LibraryError(Exception):
        error_string = "Format not recognised."

    given = [PermissionError(13, "Permission denied", "x"), OSError("Odd."), LibraryError(), RuntimeError()]
    assert [words.reason_of(each) for each in given] == [
        "permission denied", "odd", "format not recognised", "runtimeerror",
    ]  # fmt: skip
