"""A take of a learner's own in a class: no points unless the class file gives some, and then by its figures."""

from __future__ import annotations

import csv
import re

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.classroom.run import mark_class
from gainlib.classroom.start_files import write_start_files
from gainlib.exercises import figures_of, load

from .conftest import KEY, ROSTER

NAME = "recording/your-own-level"


def take(verse_dbfs, shout_dbfs):
    time = np.arange(18 * 48_000) / 48_000
    level = np.where(time < 3.0, -80.0, np.where(time < 13.0, verse_dbfs, shout_dbfs))
    tone = (0.001 + 0.999 * (time % 0.6 < 0.4)) * np.sin(2.0 * np.pi * 240.0 * time)
    return Audio(10.0 ** (level / 20.0) * tone, 48_000)


@pytest.mark.parametrize(("given", "expected"), [("", ("0.0", "0.0")), (", points = 14", ("10.0", "14.0"))])
def test_it_counts_as_the_class_file_says(group, given, expected):
    group.made_anew(ROSTER, exercises=(NAME,))
    text = re.sub(r'key = ".*"', f'key = "{KEY}"', group.file.read_text(encoding="utf-8"))
    group.file.write_text(text.replace(f'name = "{NAME}"', f'name = "{NAME}"{given}'), encoding="utf-8")
    write_start_files(group.file)
    variant = load(NAME).variant("a-01")
    # Verse and level are right, and the shout is no louder: 1 of 7 points is lost. Too low: 2 of 7.
    content = group.content("a-01")
    answered = {**content["answers"][0], "exercise": NAME, "exercise_digest": variant.exercise.digest, "values": {}}
    group.put("1.json", {**content, "answers": [{**answered, "answer": figures_of(variant, take(-25.0, -17.0))}]})
    done = mark_class(group.folder, group.file)
    with (done.out / "marks.csv").open(encoding="utf-8-sig", newline="") as sheet:
        row = next(each for each in csv.DictReader(sheet) if each["id"] == "a-01")
    assert (row["total"], row["out of"]) == expected
    (page,) = [each for each in (done.out / "feedback").glob("*.html") if "a-01" in each.name or "Ada" in each.name]
    text = page.read_text(encoding="utf-8")
    assert "Turn the gain of your interface up by about 10.0 dB" in text
    assert "with your settings" not in text
