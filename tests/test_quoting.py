"""What a message quotes from a stranger's file or name: shown by its code where it could move a terminal or mislead."""

from __future__ import annotations

import json
import pickle
import unicodedata
import zipfile

import pytest

import gainlib as gl
from gainlib.authoring.new_exercise import new_exercise
from gainlib.authoring.validation import validate
from gainlib.classroom import new_class, read_class
from gainlib.classroom.intake import walk_folder
from gainlib.classroom.roster import read_roster
from gainlib.errors import GainError
from gainlib.exercises import load
from gainlib.learners.hand_in_file import read_hand_in
from gainlib.storage import atomic_write, toml_value
from gainlib.surveys.record import read_survey

ODD = "a\u202egnp.exe\x1b[2J\r\nb\u2028"
IN_TOML = toml_value(ODD)
SHOWN = "\\u202e"
HAND_IN = {
    "schema": "gainlib hand-in",
    "version": 1,
    "class": {"title": "A", "tag": "0"},
    "learner": {"id": "a", "name": "Ada"},
    "course": {"gainlib": "1", "digest": "0"},
    "made": "2027-01-15T12:00:00Z",
    "answers": [],
}
STRIP = 'name = "voice", signal = { wave = "sine" }'


def exercise(folder, text):
    (folder / "odd.toml").write_text(text, encoding="utf-8")
    load(folder / "odd.toml")


def session(folder, text):
    (folder / "session.toml").write_text(text, encoding="utf-8")
    gl.Session.load(folder / "session.toml")


def class_file(folder, text):
    (folder / "class.toml").write_text(text, encoding="utf-8")
    read_class(folder / "class.toml")


def roster(folder, text):
    (folder / "list.csv").write_text(text, encoding="utf-8", newline="")
    read_roster(folder / "list.csv")


READERS = {
    "an exercise's name": lambda folder: load(ODD),
    "an exercise's path": lambda folder: load(folder / f"{ODD}.toml"),
    "a kind": lambda folder: exercise(folder, f"kind = {IN_TOML}"),
    "an entry of an exercise": lambda folder: exercise(folder, f"{(folder / 'sound.toml').read_text()}\n{IN_TOML} = 1"),
    "a session's path": lambda folder: gl.Session.load(folder / ODD),
    "an entry of a session": lambda folder: session(folder, f"{IN_TOML} = 1"),
    "a take": lambda folder: session(
        folder, f'strips = [{{ name = "a", take = {IN_TOML}, stages = [{{ stage = "Trim" }}] }}]'
    ),
    "a strip": lambda folder: session(folder, f'strips = [{{ name = {IN_TOML}, stages = [{{ stage = "Trim" }}] }}]'),
    "a stage": lambda folder: session(folder, f"strips = [{{ {STRIP}, stages = [{{ stage = {IN_TOML} }}] }}]"),
    "a setting": lambda folder: session(
        folder, f'strips = [{{ {STRIP}, stages = [{{ stage = "Trim", {IN_TOML} = 1 }}] }}]'
    ),
    "a route": lambda folder: session(
        folder, f'strips = [{{ {STRIP}, to = {IN_TOML}, stages = [{{ stage = "Trim" }}] }}]'
    ),
    "a schema": lambda folder: class_file(folder, f"schema = {IN_TOML}"),
    "an entry of a class": lambda folder: class_file(
        folder, f"{IN_TOML} = 1\n{(folder / 'sound-class.toml').read_text()}"
    ),
    "a class file's path": lambda folder: read_class(folder / ODD),
    "a heading of a list": lambda folder: roster(folder, f'"{ODD}";b\n1;2\n'),
    "an id in a list": lambda folder: roster(folder, f'id,name\n"{ODD}",Ada\n'),
    "a list's path": lambda folder: read_roster(folder / ODD),
    "an earlier survey's path": lambda folder: read_survey(folder / ODD),
    "an entry of a hand-in": lambda folder: read_hand_in(json.dumps(HAND_IN | {ODD: 1}).encode()),
    "an entry twice": lambda folder: read_hand_in(f"{{{json.dumps(ODD)}: 1, {json.dumps(ODD)}: 1}}".encode()),
    "hand-ins' folder": lambda folder: list(walk_folder(folder / ODD)),
    "a recording's path": lambda folder: gl.read(folder / f"{ODD}.wav"),
    "a measure": lambda folder: gl.measure(ODD, gl.Audio([0.0] * 480, 48_000)),
    "a folder to write to": lambda folder: atomic_write(folder / ODD / "note.txt", "one line"),
}


def misleading(text: str) -> list[str]:
    """The characters that could do more than stand there; a line end between sentences is none."""
    return [each for each in text if each != "\n" and unicodedata.category(each) in ("Cc", "Cf", "Zl", "Zp", "Cs")]


@pytest.mark.parametrize("name", READERS)
def test_what_a_reader_quotes_stands_on_one_line_by_its_code(tmp_path, name):
    new_exercise("sound", folder=tmp_path)
    new_class(tmp_path / "sound-class", exercises=["recording/leave-room"])
    with pytest.raises(GainError) as told:
        READERS[name](tmp_path)
    said = str(told.value)
    assert misleading(said) == []
    assert "\nb" not in said
    assert SHOWN in said


def test_an_author_s_faults_likewise(tmp_path):
    (tmp_path / "odd.toml").write_text(f'kind = "set"\n{IN_TOML} = 1\n', encoding="utf-8")
    _, faults, _ = validate(tmp_path / "odd.toml")
    assert any(SHOWN in each.text for each in faults)
    assert [misleading(each.text) + ["\n"] * ("\n" in each.text) for each in faults if each.text] == [[]] * len(faults)


def test_what_commands_print_likewise(tmp_path, run, written):
    stems = tmp_path / "stems"
    stems.mkdir()
    (stems / f"{ODD}.wav").write_bytes(b"RIFF no sound")
    status, out, err = run("survey", stems, "--csv", tmp_path / f"{ODD}.csv")
    assert (misleading(out + err), "\nb" in out) == ([], False)
    assert out.count(SHOWN) == 3
    own = tmp_path / f"{ODD}.toml"
    own.write_bytes(written().read_bytes())
    status, out, err = run("new-class", tmp_path / "group", "--title", "Group", "--exercise", own)
    assert (misleading(out + err), status) == ([], 2)  # such a name is given out to nobody
    assert "cannot be given out" in err
    with zipfile.ZipFile(tmp_path / "all.zip", "w") as archive:
        archive.writestr(f"{ODD}.txt", "")
    assert [misleading(each.place + each.fault) for each in walk_folder(tmp_path)].count([]) > 1


def test_several_sentences_stay_several_wherever_they_are_carried():
    fault = GainError("one\ntwo.", "three.")
    assert str(fault) == "one\\ntwo.\nthree."
    assert str(pickle.loads(pickle.dumps(fault))) == str(fault)
    assert fault._render_traceback_() == ["gainlib: one\\ntwo.\nthree."]
