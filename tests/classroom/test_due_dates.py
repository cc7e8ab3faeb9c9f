"""Dates as teachers type them: each is told with the one that is wanted, and what is written then is read."""

from __future__ import annotations

import time
from datetime import UTC, datetime

import pytest

from gainlib.classroom import read_class
from gainlib.classroom.due_dates import meant_date, typed_date
from gainlib.classroom.start_files import write_start_files
from gainlib.errors import GainError
from gainlib.learners.start_file import read_start_file

OLD = "2026-01-15T18:00:00+00:00"


@pytest.fixture(params=["Europe/Berlin", "UTC", "America/St_Johns"])
def zone(request, monkeypatch):
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield request.param
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("28.11.2026", "2026-11-28T18:00:00"),
        ("28. 11. 2026", "2026-11-28T18:00:00"),
        ("28.11.2026 9:30", "2026-11-28T09:30:00"),
        ("28.11.2026 23.59 Uhr", "2026-11-28T23:59:00"),
        ("2026-11-28", "2026-11-28T18:00:00"),
        ("2026-11-28T12:00", "2026-11-28T12:00:00"),
        ("2026-11-28 12:00:00", "2026-11-28T12:00:00"),
        ("11/28/2026", "2026-11-28T18:00:00"),
        ("28.11.2026 24:00", "2026-11-29T00:00:00"),
        ('"28.11.2026"', "2026-11-28T18:00:00"),
        ('"2026-11-28T18:00+01:00"', "2026-11-28T18:00:00"),
    ],
)
def test_a_date_that_cannot_be_used_is_told_as_it_should_stand_and_is_read_then(group, zone, typed, wanted):
    text = group.file.read_text(encoding="utf-8")
    group.file.write_text(text.replace(OLD, typed), encoding="utf-8")
    with pytest.raises(GainError, match=f"write {wanted}") as refused:
        read_class(group.file)
    offset = {"Europe/Berlin": "+01:00", "UTC": "+00:00", "America/St_Johns": "-03:30"}[zone]
    assert f"write {wanted}{offset} without quotes" in str(refused.value)
    group.file.write_text(text.replace(OLD, wanted + offset), encoding="utf-8")
    assert read_class(group.file).due == datetime.fromisoformat(wanted + offset)


@pytest.mark.parametrize("typed", ["3/4/2026", "next friday", "31.02.2026", "18"])
def test_a_date_that_could_be_two_or_none_is_not_guessed(group, typed):
    text = group.file.read_text(encoding="utf-8")
    group.file.write_text(text.replace(OLD, typed), encoding="utf-8")
    with pytest.raises(GainError, match="write year, month, day, time and zone, such as 2026-11-28T18:00:00"):
        read_class(group.file)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("2026-11-31", "due is 2026-11-31, a day that no calendar has; write year"),
        ("2026-13-01T18:00:00+01:00", "due is 2026-13-01T18:00:00[+]01:00, a day that no calendar has; write year"),
        ("31.02.2026", "due is 31.02.2026, a day that no calendar has; write year"),
        ("2026-11-28T25:00", "due is 2026-11-28T25:00, a time that no clock has; write year"),
        ("2026-11-28T18:61:00", "due is 2026-11-28T18:61:00, a time that no clock has; write year"),
        ("20261128", "due is 20261128; write year"),
    ],
)
def test_a_day_that_is_none_is_called_so(group, typed, said):
    text = group.file.read_text(encoding="utf-8")
    group.file.write_text(text.replace(OLD, typed), encoding="utf-8")
    with pytest.raises(GainError, match=said):
        read_class(group.file)
    if "." not in typed and typed != "20261128":
        with pytest.raises(GainError, match=said.split("; ")[0].replace("due is ", "--due is '").replace(",", "',")):
            typed_date(typed, "--due")


def test_every_wrong_date_is_told_at_once_with_its_line_or_whose_it_is(group):
    text = group.file.read_text(encoding="utf-8")
    bo = '{ id = "a-02", name = "Bo Marsh"'
    group.file.write_text(text.replace(OLD, "1.2.2026").replace(bo, f"{bo}, due = 28.11.2026"), encoding="utf-8")
    with pytest.raises(GainError) as refused:
        read_class(group.file)
    lines = str(refused.value).splitlines()

    def number(word):
        return next(index for index, line in enumerate(text.splitlines(), 1) if word in line)

    assert [each.split(";")[0] for each in lines] == [
        f"group-a.toml, line {number(OLD)}: due is 1.2.2026",
        f"group-a.toml, line {number(bo)}: due is 28.11.2026",
    ]
    group.file.write_text(text.replace(bo, f'{bo}, due = "28.11.2026"'), encoding="utf-8")
    with pytest.raises(GainError, match=r"learner 2 \(a-02\): due is '28.11.2026'; write 2026-11-28T18:00:00"):
        read_class(group.file)


def test_the_command_line_takes_this_computers_clock_and_refuses_in_the_same_words(zone):
    assert typed_date("2026-07-15T18:00", "--due") == datetime.fromisoformat("2026-07-15T18:00").astimezone()
    assert typed_date("2026-07-15T18:00Z", "--due") == datetime(2026, 7, 15, 18, tzinfo=UTC)
    with pytest.raises(GainError, match=r"--due is '28\.11\.2026'; write 2026-11-28T18:00\."):
        typed_date("28.11.2026", "--due")


def test_no_text_ends_the_reading_of_dates():
    for text in ("", "9999-99-99", "99.99.9999", "0000-00-00", "١٢.١١.٢٠٢٦", "2026-11-28T99:99", "20261128" * 40):
        meant = meant_date(text)
        assert meant is None or isinstance(meant, datetime)
        with pytest.raises(GainError, match="--due is"):
            typed_date(text, "--due")


def test_an_extension_reaches_the_learners_own_file(group):
    text = group.file.read_text(encoding="utf-8")
    bo = '{ id = "a-02", name = "Bo Marsh"'
    group.file.write_text(text.replace(bo, f"{bo}, due = 2026-02-01T12:00:00Z"), encoding="utf-8")
    write_start_files(group.file)
    own = group.home / "group-a-own-files"
    dues = [read_start_file(own / f"group-a-for-a-0{index}.gainclass").of.due for index in (1, 2)]
    assert dues == [datetime(2026, 1, 15, 18, tzinfo=UTC), datetime(2026, 2, 1, 12, tzinfo=UTC)]
