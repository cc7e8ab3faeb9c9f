"""Keys: what a learner's own file holds, whom a signature lets through, and what a key that all hold still does."""

from __future__ import annotations

import hashlib
import hmac
import json

import pytest

from gainlib.classroom import RosterLine, new_class, read_class
from gainlib.classroom.start_files import own_files_of, write_start_files
from gainlib.errors import GainError
from gainlib.exercises import author_answer, check, load
from gainlib.learners.enrolment import enrol, enrolled, own_variant
from gainlib.learners.progress import Progress
from gainlib.learners.start_file import read_start_file
from gainlib.learners.submission import hand_in

from .conftest import EXERCISE, GAIN, KEY, ROSTER, TRIM, rewrite, text_of


def own_file(group, learner):
    return own_files_of(group.file) / f"group-a-for-{learner}.gainclass"


def mac(key, *parts):
    """HMAC-SHA-256 as RFC 2104 writes it out, so that nothing here is taken from the code under test."""
    block = key.encode().ljust(64, b"\0")
    inner = hashlib.sha256(bytes(each ^ 0x36 for each in block) + json.dumps(parts).encode()).digest()
    return hashlib.sha256(bytes(each ^ 0x5C for each in block) + inner).hexdigest()


def worked(folder):
    """Answer the class's exercise in this folder, right."""
    progress = Progress.at(folder)
    variant = own_variant(load(EXERCISE), progress)
    progress.record(variant, author_answer(variant), check(variant, author_answer(variant)))
    return folder


def test_an_own_file_holds_the_learners_key_and_nothing_of_anybody_else(group):
    for each in ROSTER:
        text = text_of(own_file(group, each.id))
        assert f'key     = "{mac(KEY, "own key", each.id)[:32]}"' in text
        assert each.name in text
        assert KEY not in text
        for other in ROSTER:
            if other != each:
                held = (other.id, other.name, mac(KEY, "own key", other.id)[:32], mac(KEY, "id", other.id)[:16])
                assert not [word for word in held if word in text]
        assert own_file(group, each.id).stat().st_mode & 0o077 == 0


def test_a_learner_has_the_same_numbers_by_their_own_file_and_by_the_one_for_all(group, tmp_path):
    for folder, file, learner in (("one", own_file(group, "a-02"), ""), ("all", group.for_all, "a-02")):
        enrol(tmp_path / folder, file, learner)
        assert enrolled(tmp_path / folder).variant(load(EXERCISE)).values == group.variant("a-02").values
    assert group.variant("a-02").values == {"level": -26.0}  # what KEY was chosen for


def test_an_own_file_says_who_one_is_and_takes_no_other_id(group, tmp_path):
    here = enrol(tmp_path, own_file(group, "a-02"))
    assert (here.learner_id, here.name, here.of.tag) == ("a-02", "Bo Marsh", group.class_file.tag)
    assert enrolled(tmp_path).key == group.class_file.key_of("a-02")
    with pytest.raises(
        GainError, match="--learner is 'a-01', and group-a-for-a-02.gainclass is the start file of 'a-02'"
    ):
        enrol(tmp_path, own_file(group, "a-02"), "a-01")
    with pytest.raises(GainError, match="is for all of Group A; say who you are as well: --learner ID"):
        enrol(tmp_path, group.for_all)


def test_what_is_handed_in_by_either_file_is_marked(group, tmp_path):
    enrol(tmp_path / "one", own_file(group, "a-01"))
    enrol(tmp_path / "all", group.for_all, "a-02")
    for folder in ("one", "all"):
        done = hand_in(worked(tmp_path / folder), to=group.folder)
        content = json.loads(done.file.read_text(encoding="utf-8"))
        assert content["learner"]["name"] == {"one": "Ada Quill", "all": "Bo Marsh"}[folder]
        assert "Nothing changed" in hand_in(tmp_path / folder).text
    lines, without = group.marked()
    assert (lines["a-01"].total, lines["a-02"].total, without) == (5.0, 5.0, {})


def test_the_signature_is_that_of_all_entries_whatever_their_layout(group, tmp_path):
    enrol(tmp_path / "one", own_file(group, "a-01"))
    content = json.loads(hand_in(worked(tmp_path / "one")).file.read_text(encoding="utf-8"))
    signed = content.pop("signed")
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    key = group.class_file.key_of("a-01")
    assert signed == hmac.new(key.encode(), text.encode(), hashlib.sha256).hexdigest()
    group.put("other-layout.json", json.dumps({"signed": signed, **dict(reversed(content.items()))}, indent=7))
    assert group.marked()[0]["a-01"].total == 5.0


FORGED = {
    "changed": lambda group, good: good | {"made": "2026-01-15T12:00:01Z"},
    "a hint less": lambda group, good: good | {"answers": [good["answers"][0] | {"hints_used": 1}]},
    "by another learner's key": lambda group, good: good | {"signed": group.content("a-02")["signed"]},
    "no signature": lambda group, good: {key: each for key, each in good.items() if key != "signed"},
    "an empty one": lambda group, good: good | {"signed": ""},
    "odd letters": lambda group, good: good | {"signed": "é" * 64},
    "cut off": lambda group, good: good | {"signed": good["signed"][:63]},
}


@pytest.mark.parametrize("kind", FORGED)
def test_what_a_learner_did_not_sign_takes_none_of_their_marks(group, kind):
    good = group.content("a-01", made="2026-01-15T11:00:00Z")
    group.put("true.json", good)
    forged = FORGED[kind](group, group.content("a-01", answer={GAIN: 0, TRIM: 0}))
    group.put("forged.json", json.dumps(forged))
    lines, without = group.marked()
    assert (lines["a-01"].total, lines["a-01"].file.place) == (5.0, "true.json")
    said = without.pop("forged.json")
    assert without == {}
    if forged.get("signed"):
        assert said == "its signature does not fit: it was changed after it was made, or somebody else made it."
    elif "signed" in forged:
        assert said == "signed is empty; write at least 1 character." or "signed" in said
    else:
        assert said.startswith("it is not signed, so anybody may have written it")
    assert lines["a-01"].remarks == (f"forged.json seems to be theirs as well and cannot be used: {said}",)


def test_a_classmates_file_under_ones_own_id_is_told_as_whose_numbers_they_are(group, run):
    taken = group.content("a-02")
    group.put("true.json", taken)
    group.put("taken.json", json.dumps(taken | {"learner": {"id": "a-01", "name": "Ada Quill"}}))
    status, _, _ = run("mark", group.folder, "--class", group.file, "--feedback", "none")
    assert status == 1
    report = (group.home / "marks-of-group-a" / "report.html").read_text(encoding="utf-8")
    row = f"<td>Ada Quill</td><td>Bo Marsh</td><td>{EXERCISE}</td><td>taken.json</td>"
    assert row in report.partition("look taken over")[2]
    assert "Handed in, cannot be read or marked: Ada Quill." in report
    rows = (group.home / "marks-of-group-a" / "marks.csv").read_text(encoding="utf-8-sig").splitlines()
    assert f"taken.json answers {EXERCISE} at the numbers of Bo Marsh (a-02), not at this learner's own." in rows[1]


def test_under_a_hub_each_may_have_a_file_of_their_own(group, tmp_path, monkeypatch):
    monkeypatch.setenv("GAINLIB_CLASS", str(own_file(group, "a-03")))
    monkeypatch.setenv("JUPYTERHUB_USER", "a-03")
    hand_in(worked(tmp_path), to=group.folder)
    assert group.marked()[0]["a-03"].total == 5.0
    monkeypatch.setenv("JUPYTERHUB_USER", "a-01")
    with pytest.raises(GainError, match="signed in as 'a-01', who is not in Group A"):
        hand_in(tmp_path)


def test_the_own_files_follow_the_class_file(group):
    group.file.write_text(group.file.read_text().replace("Bo Marsh", "Bo Brook"), encoding="utf-8")
    write_start_files(group.file)
    assert "Bo Brook" in text_of(own_file(group, "a-02"))


def test_a_class_without_a_roster_has_one_file_for_all_and_its_hand_ins_are_signed(tmp_path):
    file, for_all = new_class(tmp_path / "open", exercises=[EXERCISE])
    assert not own_files_of(file).exists()
    enrol(tmp_path / "course", for_all, "zoe")
    content = json.loads(hand_in(worked(tmp_path / "course")).file.read_text(encoding="utf-8"))
    text = json.dumps(
        {key: each for key, each in content.items() if key != "signed"}, sort_keys=True, separators=(",", ":")
    )
    key = mac(read_class(file).key, "own key", "zoe")[:32]
    assert content["signed"] == hmac.new(key.encode(), text.encode(), hashlib.sha256).hexdigest()


def test_two_ids_that_some_systems_take_for_one_get_two_files(tmp_path):
    roster = [RosterLine(id="x-1", name="Ada"), RosterLine(id="X-1", name="Bo"), RosterLine(id="../x", name="Cy")]
    file, _ = new_class(tmp_path / "odd", roster=roster, exercises=[EXERCISE])
    found = [read_start_file(each).of.learner for each in own_files_of(file).iterdir()]
    assert sorted(each.id for each in found) == ["../x", "X-1", "x-1"]
    assert len({each.name.lower() for each in own_files_of(file).iterdir()}) == 3


def test_own_files_are_not_written_over_by_a_new_class(group, tmp_path):
    (tmp_path / "new-own-files").mkdir()
    with pytest.raises(GainError, match="new-own-files is there already"):
        new_class(tmp_path / "new", roster=ROSTER, exercises=[EXERCISE])
    assert not (tmp_path / "new.toml").exists()


def test_an_exercise_of_the_teachers_own_is_found_from_an_own_file(tmp_path):
    (tmp_path / "levels").mkdir()
    (tmp_path / "levels" / "own.toml").write_text(load(EXERCISE).file.read_text(encoding="utf-8"), encoding="utf-8")
    file, _ = new_class(tmp_path / "own", roster=ROSTER, exercises=[str(tmp_path / "levels" / "own.toml")])
    here = enrol(tmp_path / "course", own_files_of(file) / "own-for-a-01.gainclass")
    (entry,) = here.of.exercises
    assert here.exercise(entry).digest == load(EXERCISE).digest
    assert here.home == enrolled(tmp_path / "course").home
    assert here.home.is_relative_to(tmp_path / "course")


def test_a_class_of_gainlib_0_1_keeps_its_numbers_and_needs_no_signature(group, tmp_path):
    group.file.write_text(group.file.read_text().replace("version = 2", "version = 1"))
    write_start_files(group.file)
    enrol(tmp_path / "course", group.for_all, "a-01")
    assert enrolled(tmp_path / "course").variant(load(EXERCISE)).values == load(EXERCISE).variant("a-01", KEY).values
    done = hand_in(worked(tmp_path / "course"), to=group.folder)
    assert "signed" not in json.loads(done.file.read_text(encoding="utf-8"))
    assert group.marked()[0]["a-01"].total == 5.0


@pytest.mark.parametrize("line", ["tag     = ", "learner = "])
def test_half_of_what_makes_a_file_ones_own_is_refused(group, line):
    file = own_file(group, "a-01")
    (found,) = (each for each in text_of(file).splitlines(keepends=True) if each.startswith(line))
    rewrite(file, (found, ""))
    with pytest.raises(GainError, match="has one of learner and tag; a file of one's own has both"):
        read_start_file(file)
