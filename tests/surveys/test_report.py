"""A survey in words, as JSON after its schema, as CSV without formulas, as a gain sheet, against an earlier one."""

from __future__ import annotations

import csv
import dataclasses
import datetime
import io
import json
import re
from html.parser import HTMLParser

import jsonschema
import numpy as np
import pytest

from gainlib import GainError
from gainlib.surveys import Practice, as_csv, as_dict, as_json, lines
from gainlib.surveys.comparison import compare
from gainlib.surveys.order import OrderLine, Session
from gainlib.surveys.record import read_survey, schema_text
from gainlib.surveys.sheet import gain_sheet, write_sheet
from gainlib.surveys.survey import survey

NASTY = '=HYPERLINK("x")<script>alert(1)</script>&\'"'


def nasty(tmp_path, making):
    """One stem whose name would be a formula and a script."""
    name = NASTY.replace("/", "\\")
    return survey(making.save(tmp_path / f"{name}.wav", making.clipped_tone(1.0, 3.0)), title="<i>x</i>"), name


def test_a_line_for_each_stem_the_worst_last(surveyed):
    told = lines(surveyed)
    stems = told[-len(surveyed.stems) - 1 : -1]
    assert [line.split(":")[0] for line in stems] == [each.name for each in surveyed.stems][::-1]
    assert re.match(
        r"guitar: It is clipped \d+ times, the longest \d+ samples, first at 0:00\.\d{3} \(bar 1:1, sample", told[-2]
    )
    assert "Trim" in told[-2]
    assert re.findall(r"\d+", told[-1]) == ["11", "8"]  # surveyed, and wrong
    assert any(line.startswith("The sum of 10 stems with these trims: true peak") for line in told)
    assert all("-" not in re.sub(r"[a-zA-Z]-[a-zA-Z]", "", line) for line in told)  # a real minus everywhere


def test_faults_alone_leave_out_what_is_fine(planted, surveyed):
    told = {line.split(":")[0] for line in lines(surveyed, faults_only=True)}
    wrong = {name for name, kinds in planted[1].items() if kinds} - {"synth"}  # dual mono is a remark, no fault
    assert told & set(planted[1]) == wrong


@pytest.mark.parametrize("rows", [24, 50])
def test_a_screen_holds_the_worst_and_says_what_it_left_out(surveyed, rows):
    many = dataclasses.replace(
        surveyed,
        stems=tuple(
            dataclasses.replace(each, name=f"{each.name} {index}") for index in range(90) for each in surveyed.stems
        ),
        trims=tuple(
            dataclasses.replace(each, stem=f"{each.stem} {index}") for index in range(90) for each in surveyed.trims
        ),
        faults=tuple(dataclasses.replace(each, stem=f"{each.stem} 0") for each in surveyed.faults),
        sum=None,
    )
    told = lines(many, rows=rows, width=100)
    assert sum(-(-len(line) // 100) for line in told) < rows
    left_out = next(index for index, line in enumerate(told) if "more are not shown here" in line)
    shown = told[left_out + 1 : -1]
    assert [line.split(":")[0] for line in shown] == [each.name for each in many.stems[: len(shown)]][::-1]
    assert told[left_out].startswith(f"{990 - len(shown)} more ")
    assert len(lines(many)) > 990


def test_json_follows_its_schema_and_holds_no_infinity(surveyed, tmp_path, making):
    schema = json.loads(schema_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    made = as_dict(surveyed)
    jsonschema.validate(made, schema)
    assert json.loads(as_json(surveyed)) == made
    assert {"stems", "faults", "sum", "trims", "unreadable"} <= set(made)
    room = next(each for each in made["stems"] if each["name"] == "room")
    assert room["silent"] is True
    assert room["measures"]["peak_dbfs"] is None
    (tmp_path / "bad.wav").write_bytes(b"nothing")
    jsonschema.validate(as_dict(survey(tmp_path / "bad.wav")), schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(made | {"stems": 1}, schema)


def test_the_table_reads_back_and_holds_no_formula(surveyed, tmp_path, making):
    rows = list(csv.DictReader(io.StringIO(as_csv(surveyed))))
    assert [each["stem"] for each in rows] == [each.name for each in surveyed.stems]
    bass = next(each for each in rows if each["stem"] == "bass")
    assert float(bass["peak_dbfs"]) == pytest.approx(-12.04, abs=0.06)
    assert next(each for each in rows if each["stem"] == "room")["peak_dbfs"] == "-inf"
    made, name = nasty(tmp_path, making)
    row = next(iter(csv.reader(io.StringIO(as_csv(made).split("\r\n", 1)[1]))))
    assert row[0] == f"'{name}"


class _Seen(HTMLParser):
    """The page's elements, and whether each was closed."""

    def __init__(self):
        super().__init__()
        self.open, self.tags, self.text, self.urls = [], [], [], []

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.urls += [value for name, value in attributes if name in ("src", "href", "xlink:href")]
        if tag not in ("meta", "br", "input"):
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.tags.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def seen(page):
    made = _Seen()
    made.feed(page)
    assert made.open == []
    return made


def test_the_sheet_is_one_page_that_needs_nothing_else(surveyed):
    page = gain_sheet(surveyed, on=datetime.date(2026, 5, 1))
    made = seen(page)
    assert made.urls == []
    assert "script" not in made.tags
    assert "http" not in page
    text = " ".join(made.text)
    for each in surveyed.stems:
        assert each.name in text
    for words in (
        "2026-05-01",
        "What to do, notes",
        "Where it is",
        "Level diagram",
        "What this goes by",
        "dBFS",
        "LUFS",
    ):
        assert words in text
    assert made.tags.count("svg") >= 2 + len(surveyed.stems)
    # Each picture says in words what it shows.
    assert page.count('role="img" aria-label="') == 2 + len(surveyed.stems)
    assert len(page) < 300_000


def test_the_first_page_has_all_that_the_desk_needs(tmp_path, making):
    making.save(
        tmp_path / "take 10.wav", making.tone(2.0, 0.5, 440.0, rate_hz=44_100), subtype="PCM_16", rate_hz=44_100
    )
    making.save(tmp_path / "take 2.wav", np.clip(making.noise(1, 2.0, rms=0.6, channels=2), -1, 1), subtype="FLOAT")
    made = survey(tmp_path, tempo=96.0)
    session = Session(song="song <4>", key="D minor", notes="Leave the count-in.")
    page = gain_sheet(made, session=session, order=[OrderLine("stems", "word", False, "stems: 24 bits, but ...")])
    desk = page[page.index("<h1>") : page.index('<div class="behind">')]
    text = re.sub(r"\s+", " ", " ".join(seen(f"<div>{desk}</div>").text))
    # In the order in which a person counts, each with its format and its length, after what heads them.
    assert text.index("song <4>") < text.index("96") < text.index("Main") < text.index("take 2") < text.index("take 10")
    assert "48 32 float 2 0:02.000" in text
    assert "44.1 16 1 0:02.000" in text
    # To the decibel of a sine of half of full scale, and what is wrong in the words of the survey.
    assert "take 10 −12.0" in text
    fault = next(each for each in made.faults_of("take 2") if each.kind == "clipped")
    assert fault.sentence[1:] in text
    assert "Leave the count-in." in text
    assert "Not as ordered : stems: 24 bits, but ..." in text
    # A box for each trim and the main, for each fault, and for what is not as ordered.
    faults = sum(not each.remark for each in made.faults)
    assert desk.count('type="checkbox"') == 3 + faults + 1
    # What nobody filled in is a line to write on.
    assert '<span class="line" role="textbox" contenteditable="true" aria-label="Engineer"></span>' in desk


def test_of_many_stems_those_with_something_to_do_come_first(tmp_path, making):
    for index in range(70):
        making.save(tmp_path / f"{index}.wav", making.tone(0.05, 2.0 if index == 66 else 0.5))
    page = gain_sheet(survey(tmp_path))
    assert re.findall(r'<th scope="row" title="([0-9]+)"', page)[:2] == ["66", "0"]


def test_a_target_is_drawn_only_where_it_was_ordered(tmp_path, making):
    stem = making.save(tmp_path / "a.wav", making.noise(1, 1.0))
    drawn = {
        target: gain_sheet(survey(stem, practice=Practice(target=target))).count('<line class="target"')
        for target in (None, -18.0)
    }
    # One line through the diagram of the trims, one in the key.
    assert drawn == {None: 0, -18.0: 2}
    assert 'class="target"' not in gain_sheet(survey(stem, practice=Practice("peak_dbfs", -10.0)))


def test_the_number_of_a_peak_never_stands_on_the_ceiling(making, tmp_path):
    # −4 dBFS: above its line the number would be crossed by the line of full scale.
    page = gain_sheet(survey(making.save(tmp_path / "a.wav", making.tone(1.0, 10 ** (-4 / 20)))))
    ceiling = float(re.search(r'<line class="ceiling" x1="54" x2="1000" y1="([0-9.]+)"', page)[1])
    numbers = [float(y) for y in re.findall(r'<text class="number" x="[0-9.]+" y="([-0-9.]+)"', page)]
    assert len(numbers) == 5
    assert not any(y - 12 < ceiling < y + 2 for y in numbers)


def test_names_are_text_on_the_sheet_and_nothing_else(tmp_path, making):
    made, name = nasty(tmp_path, making)
    page = seen(gain_sheet(made))
    assert "script" not in page.tags
    assert "i" not in page.tags
    assert name in "".join(page.text)


def test_long_names_that_differ_in_their_middle_are_told_apart_on_paper(tmp_path, making):
    # A line holds 64 characters, the beginning and the end: these two would be one and the same there.
    begin, end = "everything that was played and sung on the second evening ", " bounced again with the right edit"
    for middle in ("organ", "choir"):
        making.save(tmp_path / f"{begin}{middle}{end}.wav", making.tone(0.05, 0.5))
    making.save(tmp_path / f"kick {begin}{end}.wav", making.tone(0.05, 0.5))
    page = gain_sheet(survey(tmp_path))
    for shown in (f"{begin}organ{end}", f"{begin}choir{end}", f"kick {begin}"[:43] + "…"):
        assert len(re.findall(rf">{shown}[^<]*</th>", page)) == 2  # on the desk's page, and in the table behind it


def test_the_sheet_of_nothing_of_silence_and_of_many(tmp_path, making):
    (tmp_path / "bad.wav").write_bytes(b"nothing")
    seen(gain_sheet(survey(tmp_path / "bad.wav")))
    making.save(tmp_path / "silent.wav", np.zeros((100, 1)))
    page = seen(gain_sheet(survey(tmp_path / "silent.wav")))
    assert "−∞" in "".join(page.text)
    many = tmp_path / "many"
    for index in range(130):
        making.save(many / f"{index}.wav", making.tone(0.05, 0.5))
    page = gain_sheet(survey(many))
    assert seen(page).tags.count("tr") == 2 * 131 + 1  # the desk's table with the main, the levels behind it
    assert "The 40 first of 130 are drawn." in page
    assert "the 120 first of 130" in page


def test_a_sheet_never_stands_in_the_place_of_another_unless_told(surveyed, tmp_path):
    path = write_sheet(surveyed, tmp_path / "sheet.html")
    before = path.read_bytes()
    with pytest.raises(GainError, match="sheet.html is there already; choose another name or say --overwrite"):
        write_sheet(surveyed, path)
    assert path.read_bytes() == before
    write_sheet(surveyed, path, overwrite=True)
    assert [each.name for each in tmp_path.iterdir()] == ["sheet.html"]
    with pytest.raises(GainError, match="the folder .*nowhere is not there; make it first"):
        write_sheet(surveyed, tmp_path / "nowhere" / "sheet.html")
    with pytest.raises(GainError, match="is a folder; name a file"):
        write_sheet(surveyed, tmp_path)


def test_two_surveys_are_compared(tmp_path, making):
    old, new = tmp_path / "old", tmp_path / "new"
    one = making.noise(1, 4.0)
    for folder, gain, names in ((old, 1.0, "abc"), (new, 10 ** (-3 / 20), "bcd")):
        for name in names:
            sound = making.noise(2, 4.0) if name == "d" else one
            making.save(folder / f"{name}.wav", gain * sound if name == "b" else sound)
    making.save(old / "e.wav", making.clipped_tone(1.0, 3.0))
    making.save(new / "e.wav", making.clipped_tone(1.0, 3.0, -6.0))
    changes = compare(survey(old), survey(new))
    assert (changes.came, changes.went) == (("d",), ("a",))
    assert [line.rsplit(" ", 1)[-1] for line in changes.lines[:2]] == ["d.", "a."]
    assert any(line.startswith("e: still clipped") for line in changes.lines)
    assert any(line.startswith("b: it is turned down by 3.0 dB; ") for line in changes.lines)
    assert not any(line.startswith("c:") for line in changes.lines)
    moved = {each.measure: each.after - each.before for each in changes.levels if each.stem == "b"}
    assert moved["peak_dbfs"] == pytest.approx(-3.0, abs=0.01)
    assert moved["loudness_lufs"] == pytest.approx(-3.0, abs=0.01)
    assert "crest_db" not in moved
    assert "What has changed" in gain_sheet(survey(new), changes=changes)


def test_two_takes_of_other_names_are_compared(tmp_path, making):
    first = survey(making.save(tmp_path / "take 1.wav", making.tone(1.0, 0.5)))
    second = survey(making.save(tmp_path / "take 2.wav", making.tone(1.0, 0.25)))
    assert "turned down by 6.0 dB" in compare(first, second).lines[0]


def test_an_earlier_survey_is_read_from_its_file(surveyed, tmp_path):
    path = tmp_path / "then.json"
    path.write_text(as_json(surveyed), encoding="utf-8")
    nothing = "stems: nothing has changed, each stem is what it was, sample for sample."
    assert compare(read_survey(path), surveyed).lines == [nothing]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (None, r"no earlier survey: .*then.json is not there; check the name and the folder; give"),
        ("{", r"no earlier survey: then.json is cut off or not JSON \(line 1\); give a file that"),
        ("[" * 100_000, "no earlier survey: then.json is nested too deep; give a file that"),
        ("[]", "is no survey; give a file that gainlib survey --json wrote"),
        ('{"stems": [], "form": 9}', "has the form 9; this gainlib reads form 1"),
    ],
)
def test_what_is_no_earlier_survey_is_refused(tmp_path, text, sentence):
    path = tmp_path / "then.json"
    if text is not None:
        path.write_text(text)
    with pytest.raises(GainError, match=sentence):
        read_survey(path)


def test_half_an_earlier_survey_is_refused(surveyed):
    with pytest.raises(GainError, match="one of the two is no survey"):
        compare({"stems": [{"name": "a"}], "form": 1}, surveyed)
