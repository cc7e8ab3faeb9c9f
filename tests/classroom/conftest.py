"""What the tests of a class share: a small class, and hand-ins of its learners as they are written."""

from __future__ import annotations

import importlib
import json
import os
import shutil
import sys
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest

import gainlib
from gainlib.classroom import RosterLine, new_class, read_class
from gainlib.classroom.marks import mark_folder
from gainlib.classroom.start_files import own_files_of, write_start_files
from gainlib.classroom.store import Store
from gainlib.exercises import author_answer, load
from gainlib.learners.hand_in_file import signature_of

EXERCISE = "recording/leave-room"
GAIN, TRIM = "voice/preamp/gain_db", "voice/trim/gain_db"
DUE = datetime(2026, 1, 15, 18, 0, tzinfo=UTC)
KEY = "a key for these tests 1812"
ROSTER = (
    RosterLine(id="a-01", name="Ada Quill"),
    RosterLine(id="a-02", name="Bo Marsh"),
    RosterLine(id="a-03", name="Cy Fenn"),
)


def text_of(start_file: Path) -> str:
    """The class in a start file, as it is written there."""
    with zipfile.ZipFile(start_file) as archive:
        return archive.read("class.toml").decode("utf-8")


def rewrite(start_file: Path, *changes: tuple[str, str]) -> Path:
    """Change words of the class in a start file, as somebody could by hand; the rest of the archive stays."""
    text = text_of(start_file)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    with zipfile.ZipFile(start_file) as archive:
        others = {each: archive.read(each) for each in archive.namelist() if each != "class.toml"}
    with zipfile.ZipFile(start_file, "w") as archive:
        archive.writestr("class.toml", text)
        for name, content in others.items():
            archive.writestr(name, content)
    return start_file


class SmallClass:
    """A class in a folder of its own, with a folder of hand-ins; `for_all` is its start file for all."""

    def __init__(self, home: Path) -> None:
        self.home, self.folder = home, home / "hand-ins"
        self.folder.mkdir()
        self.file, self.for_all = new_class(
            home / "group-a", title="Group A", roster=ROSTER, exercises=[EXERCISE], due=DUE
        )

        self.draw_as_known()

    def draw_as_known(self) -> None:
        """Give it a key that is known, so that the numbers are: -16, -26 and -21 dBu for the three learners."""
        key = read_class(self.file).key
        self.file.write_text(self.file.read_text(encoding="utf-8").replace(key, KEY), encoding="utf-8")
        write_start_files(self.file)

    @property
    def class_file(self):
        return read_class(self.file)

    def variant(self, learner_id: str):
        return load(EXERCISE).variant(learner_id, self.class_file.key_of(learner_id))

    def content(self, learner_id: str, answer=None, **changed):
        """A hand-in as it is in the file: the author's own answer, unless another is given."""
        variant = self.variant(learner_id)
        of_class = self.class_file
        answered = {
            "exercise": EXERCISE,
            "exercise_digest": variant.exercise.digest,
            "values": variant.values,
            "answer": author_answer(variant) if answer is None else answer,
            "hints_used": 0,
            "attempts": 2,
            "time": "2026-01-15T12:00:00Z",
        }
        content = {
            "schema": "gainlib hand-in",
            "version": 1,
            "class": {"title": of_class.title, "tag": of_class.tag},
            "learner": {"id": learner_id, "name": ""},
            "course": {"gainlib": "0.1.0", "digest": "0123456789abcdef"},
            "made": "2026-01-15T12:00:00Z",
            "answers": [answered],
        } | changed
        return self.signed(content)

    def signed(self, content):
        """A hand-in with the signature of the learner whose id it bears."""
        key = self.class_file.key_of(content["learner"]["id"])
        return content | {"signed": signature_of(content, key)}

    def put(self, name: str, content) -> Path:
        """Put a file among the hand-ins; one that is given as a table is signed as its learner's."""
        file = self.folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(content, bytes):
            file.write_bytes(content)
        else:
            if isinstance(content, dict) and isinstance(content.get("learner"), dict) and "id" in content["learner"]:
                content = self.signed(content)
            file.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
        return file

    def grow(self, learners: int = 30) -> None:
        """Make it a class of so many, each with an answer of their own."""
        roster = [RosterLine(id=f"b-{index:02d}", name=f"Learner {index}") for index in range(learners)]
        self.made_anew(roster)
        for index, each in enumerate(roster):
            answer = author_answer(self.variant(each.id)) | {TRIM: index * 0.5 - 7}
            self.put(f"{each.id}.json", self.content(each.id, answer=answer))

    def made_anew(self, roster, exercises=(EXERCISE,)) -> None:
        """Make it a class of these learners, with the key that is known."""
        self.file.unlink()
        self.for_all.unlink()
        shutil.rmtree(own_files_of(self.file))
        new_class(self.file, roster=roster, exercises=exercises)
        self.draw_as_known()

    def marked(self, **given):
        """Lines by learner, and place -> sentence of what got no mark."""
        with Store(self.home / "marks.sqlite") as store:
            marks = mark_folder(self.folder, self.class_file, store, home=self.home, **given)
            lines = {each.learner_id: each for each in marks.lines()}
            without = [*marks.files_without_mark(), *(row for each in lines.values() for row in each.without_mark)]
            return lines, dict(without)


WORK = """
import os
import time
from pathlib import Path
from gainlib.errors import GainError

def doubled(items):
    return [each * 2 for each in items]

def ends_on_7(items):
    if 7 in items:
        os._exit(9)
    return doubled(items)

def tells_its_start(items):
    if not items:
        (Path(__file__).parent / f"started-{os.getpid()}").touch()
    return doubled(items)

def refuses(items):
    raise GainError("no.")

def stays(items):
    if items == [0]:
        return [os.getpid()]
    time.sleep(20)
    Path(items[0]).touch()
    return items
"""


@pytest.fixture(scope="module")
def work_module(tmp_path_factory):
    """Some work in a module that a worker process finds as well, beside the gainlib under test."""
    folder = tmp_path_factory.mktemp("work")
    (folder / "work_of_a_test.py").write_text(WORK)
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(folder)
        patch.setenv("PYTHONPATH", os.pathsep.join([str(folder), str(Path(gainlib.__file__).parents[1])]))
        yield importlib.import_module("work_of_a_test")
    del sys.modules["work_of_a_test"]


@pytest.fixture
def work(work_module, monkeypatch):
    """That module, its items handed out by four."""
    monkeypatch.setattr("gainlib.workers.CHUNK", 4)
    return work_module


@pytest.fixture
def group(tmp_path):
    return SmallClass(tmp_path)
