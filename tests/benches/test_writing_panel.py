"""The page on which an exercise is written, without a browser: what its fields say is what the file says."""

from __future__ import annotations

import tomllib

import pytest

import gainlib as gl
from gainlib.benches.written_exercise import ReadingPanel
from gainlib.exercises.tables import Spec
from gainlib.storage import bundled_folder

# One of each kind that a teacher writes, quick ones: rules, drawn words, what is put wrong, rides, sends, versions.
OF_EACH_KIND = [
    "levels/line-up-the-tone",
    "levels/out-of-line",
    "levels/two-tracks",
    "rides/even-the-verse",
    "sends/her-headphones",
    "rides/squeezed-or-ridden",
    "hearing/step-in-level",
]


def opened(tmp_path, name):
    """The page of a copy of one of the course's exercises, and the entries of that."""
    text = bundled_folder("exercises").joinpath(f"{name}.toml").read_text(encoding="utf-8")
    file = tmp_path / f"{name.rpartition('/')[2]}.toml"
    file.write_text(text, encoding="utf-8")
    return gl.write_exercise(file), tomllib.loads(text)


@pytest.mark.parametrize("name", OF_EACH_KIND)
def test_an_exercise_that_is_opened_and_written_is_the_same(tmp_path, name):
    page, entries = opened(tmp_path, name)
    panel, writer = page.panel, page.writer
    for table in panel.tables.values():
        for key in table.rows:
            table.chosen = key
            table.follow()
            table._changed(dict(table.form.values))
            assert table.form.said == ""
    for form in (panel.task, panel.sound, panel.moves, panel.answer, panel.ladder, panel.seen):
        if form.fields:
            form._changed(dict(form.values))
            assert form.said == ""
    assert writer.draft.entries == entries
    written = tomllib.loads(writer.write().read_text(encoding="utf-8"))
    assert Spec.model_validate(written) == Spec.model_validate(entries)
    page.close()


def test_a_question_is_written_in_its_fields(tmp_path):
    page = gl.write_exercise(tmp_path / "sum.toml", kind="reckon")
    asks = page.panel.tables["asks"]
    asks._pressed("more 0")
    values = {"title": "Both together", "unit": "dBu", "expected": "sum_db(tone, 0"}
    asks._changed(asks.form.values | values)
    assert asks.form.said.startswith("Not taken: What is right: “sum_db(tone, 0” cannot be read: “,” is missing")
    asks._changed(asks.form.values | values | {"expected": "sum_db(tone, 0)"})
    page.panel._answer_changed(page.panel.answer.values | {"answer number": "sum_db(tone, 0)"})
    entries = tomllib.loads(page.file.read_text(encoding="utf-8"))
    assert (entries["asks"][2]["title"], entries["asks"][2]["unit"]) == ("Both together", "dBu")
    sum_of_both = {"reckon": "sum_db", "with": [{"plus": "tone"}, 0]}
    assert entries["asks"][2]["expected"] == entries["solution"]["number"] == sum_of_both
    # 4 dBu and 0 dBu, unrelated: 10 log (10^0.4 + 1)
    assert "<td>Both together</td><td>5.4554 dBu</td><td>5.4554 dBu ● right</td>" in page.panel.readings.value
    page.close()


def test_a_question_has_the_fields_that_it_has_a_use_for(tmp_path):
    page = gl.write_exercise(tmp_path / "where.toml", kind="find")
    asks = page.panel.tables["asks"]
    assert next(each["title"] for each in asks.rows.values()) == "The strip that was clipped"
    fields = {each["name"] for each in asks.form.fields}
    assert {"among", "by.what", "by.at", "pick", "wrong"} <= fields
    assert not {"expected", "within", "moment", "order"} & fields
    page.close()


def test_a_session_gets_a_strip_whose_stages_are_on_the_bench(tmp_path):
    page = gl.write_exercise(tmp_path / "four.toml", kind="session")
    page.panel.tables["strips"]._pressed("more 0")
    writer = page.writer
    assert [each["name"] for each in writer.draft.get("given", "strips")] == ["kick", "bass", "voice", "strip 4"]
    page.panel._sound_changed(page.panel.sound.values | {"channel": "strip 4"})
    page.panel._sound_changed(page.panel.sound.values | {"set gain_db": "−4.5"})
    assert writer.draft.get("given", "strips", 3, "stages") == [{"stage": "Trim", "gain_db": -4.5}]
    assert writer.bench.values["strip 4/trim/gain_db"] == -4.5
    assert page.panel.sound.said == ""
    page.close()


def test_a_strip_more_is_one_like_the_last_under_a_name_of_its_own(tmp_path):
    short = gl.tone(-20, 997, seconds=1, rate_hz=48_000)
    gl.write(tmp_path / "a second.wav", short)  # the first to choose from, in which no part from 9.5 s on lies
    page = gl.write_exercise(tmp_path / "low.toml", kind="find")
    strips, writer = page.panel.tables["strips"], page.writer
    for _ in range(2):
        strips._pressed("more 0")
        assert strips.form.said == ""
    made = writer.draft.get("given", "strips")
    assert [each["name"] for each in made][3:] == ["strip 4", "strip 5"]
    assert all(each == {**made[2], "name": each["name"]} for each in made[3:])
    strips.chosen = 3
    strips._pressed("drop")
    strips._pressed("more 0")
    assert [each["name"] for each in writer.draft.get("given", "strips")][3:] == ["strip 5", "strip 6"]
    page.close()


def test_a_version_is_stood_on_the_bench(tmp_path):
    page = gl.write_exercise(tmp_path / "which.toml", kind="judge")
    page.writer.bench.move("trim/gain_db", 9.0)
    page.panel.wrong.values = {"name": "pushed", "say": "9 dB hotter"}
    page.panel._wrong_pressed("wrong")
    versions = page.writer.draft.get("candidates")
    assert versions[-1] == {"name": "pushed", "set": {"trim/gain_db": 9.0}, "say": "9 dB hotter"}
    page.close()


def test_what_was_typed_for_a_version_that_is_refused_stays_typed(tmp_path):
    page = gl.write_exercise(tmp_path / "which.toml", kind="judge")
    typed = {"name": "Much off", "say": "9 dB hotter"}
    page.panel.wrong.values = typed
    page.panel._wrong_pressed("wrong")
    assert page.panel.wrong.said == "Not taken: the version's name is 'Much off'; give small letters, such as squeezed."
    assert page.panel.wrong.values == typed
    page.panel.wrong.values = typed | {"name": "off"}
    page.panel._wrong_pressed("wrong")
    assert page.panel.wrong.said == "Kept as a version."
    assert page.panel.wrong.values == {"name": "", "say": ""}
    page.close()


def test_what_a_proof_came_to_is_not_said_of_what_was_changed_since(tmp_path):
    page = gl.write_exercise(tmp_path / "sum.toml", kind="reckon")
    page.panel._prove_pressed("quick")
    assert page.panel.proof.said.startswith("Nothing wrong at a quick look.")
    page.writer.change(title="Another title")
    assert page.panel.proof.said == ""
    page.writer.put("solution", value={})
    page.panel._prove_pressed("prove")
    assert page.panel.proof.said == "Not taken: say first what is right: give your own answer."
    page.close()


def test_what_a_proof_says_to_sit_the_exercise_by_opens_it_from_where_the_page_is(tmp_path, monkeypatch):
    home = tmp_path / "Übung"
    (home / "page").mkdir(parents=True)
    for place, named in ((home, '"sum.toml"'), (home / "page", f'"{(home / "sum.toml").as_posix()}"')):
        monkeypatch.chdir(place)
        page = gl.write_exercise(home / "sum.toml", **({} if (home / "sum.toml").exists() else {"kind": "reckon"}))
        page.panel._prove_pressed("prove")
        assert page.panel.proof.said.endswith(f'in a cell of your own: gl.exercise({named}, learner="Bea")')
        assert gl.exercise(named.strip('"'), learner="Bea").exercise.title == "Sum"
        page.close()


def test_a_question_with_another_name_keeps_its_answers_and_one_that_goes_takes_them_along(tmp_path):
    page = gl.write_exercise(tmp_path / "sum.toml", kind="reckon")
    writer, asks = page.writer, page.panel.tables["asks"]
    right = writer.draft.get("solution")
    assert list(right) == ["reads", "volts"]
    asks.chosen = 0
    asks.follow()
    asks._changed(asks.form.values | {"name": "level"})
    assert writer.draft.get("solution") == {"level": right["reads"], "volts": right["volts"]}
    assert writer.draft.get("slips", 0, "when", 0, "ask") == "level"
    assert list(writer.draft.get("slips", 0, "answer")) == ["level"]
    assert writer.prove(quick=True).faults == ()
    asks._pressed("drop")
    assert list(writer.draft.get("solution")) == ["volts"]
    assert writer.draft.get("slips") is None
    page.close()


@pytest.mark.parametrize("name", ["volts", ""])
def test_a_question_whose_name_is_another_s_or_is_taken_away_is_refused_with_its_answer_kept(tmp_path, name):
    page = gl.write_exercise(tmp_path / "sum.toml", kind="reckon")
    before, asks = page.writer.draft.text, page.panel.tables["asks"]
    asks.chosen = 0
    asks.follow()
    asks._changed(asks.form.values | {"name": name})
    assert asks.form.said == (
        "Not taken: each question has a name of its own, since its answer goes by it; give “reads” another."
    )
    assert page.writer.draft.text == before
    page.close()


def test_questions_that_change_places_keep_their_answers(tmp_path):
    page = gl.write_exercise(tmp_path / "sum.toml", kind="reckon")
    writer = page.writer
    right, slips = writer.draft.get("solution"), writer.draft.get("slips")
    writer.put("asks", value=writer.draft.get("asks")[::-1])
    assert [each["name"] for each in writer.draft.get("asks")] == ["volts", "reads"]
    assert (writer.draft.get("solution"), writer.draft.get("slips")) == (right, slips)
    page.close()


@pytest.mark.parametrize("kind", ["reckon", "find", "judge", "ride", "session"])
def test_another_name_of_what_is_drawn_is_its_name_wherever_it_stands(tmp_path, kind):
    page = gl.write_exercise(tmp_path / "drawn.toml", kind=kind)
    writer, varies = page.writer, page.panel.tables["varies"]
    before = writer.draft
    names = list(before.get("varies"))
    for name in names:
        varies.chosen = name
        varies.follow()
        varies._changed(varies.form.values | {"(name)": f"drawn_{name}"})
        assert varies.form.said == ""
    assert list(writer.draft.get("varies")) == [f"drawn_{name}" for name in names]
    assert writer.prove(quick=True).faults == ()
    for name in names:
        varies.chosen = f"drawn_{name}"
        varies.follow()
        varies._changed(varies.form.values | {"(name)": name})
    assert writer.draft.text == before.text
    page.close()


def test_a_bus_with_the_name_of_what_is_drawn_keeps_it(tmp_path):
    page = gl.write_exercise(tmp_path / "sum.toml", kind="session")
    writer, varies = page.writer, page.panel.tables["varies"]
    given = writer.draft.get("given")
    strips = [{**each, "to": "off"} for each in given["strips"]]
    buses = [{"name": "off", "stages": [{"stage": "Fader"}]}, *given["buses"]]
    writer.put("given", value={**given, "strips": strips, "buses": buses})
    varies.chosen = "off"
    varies.follow()
    varies._changed(varies.form.values | {"(name)": "too_low"})
    assert varies.form.said == ""
    assert writer.draft.get("plant", 0, "by") == {"minus": "too_low"}
    assert {each["to"] for each in writer.draft.get("given", "strips")} == {"off"}
    page.close()


def test_a_ladder_of_levels_is_written_in_its_fields(tmp_path):
    page = gl.write_exercise(tmp_path / "louder.toml", kind="hear")
    page.writer.put("ladder", "path", value="trim/gain_db")
    page.writer.put("ladder", "rungs", value=[6, 4, 2.8, 2, 1.4, 1, 0.7, 0.5])
    page.writer.put("ladder", "reads", value={"measure": "rms_dbfs", "at": "trim"})
    (fault,) = page.writer.prove().faults
    assert "the odd one is the same as the others once all are equally loud (with matched = false" in fault.text
    seen = page.panel.seen
    assert seen.fields[-1]["label"] == "All are played equally loud"
    seen._changed(seen.values | {"matched": False})
    assert page.writer.draft.get("matched") is False
    assert page.writer.prove().faults == ()
    page.close()


def test_a_file_with_notes_is_read_and_never_written_unless_they_may_go(tmp_path):
    file = gl.write_exercise(tmp_path / "noted.toml").writer.file
    text = (
        'title = "Mine" # for me\n'
        + (
            bundled_folder("exercises")
            .joinpath("levels/line-up-the-tone.toml")
            .read_text(encoding="utf-8")
            .partition("\n")[2]
        )
    )
    file.write_text(text, encoding="utf-8")
    page = gl.write_exercise(file)
    assert (page.writer, isinstance(page.panel, ReadingPanel)) == (None, True)
    assert "which the page would lose, in line 1." in page.panel.told.value
    page.panel._pressed("prove")
    assert page.panel.proof.said.startswith("Proven, in ")
    assert file.read_text(encoding="utf-8") == text
    page.panel._pressed("open")
    assert page.writer.draft.get("title") == "Mine"
    page.writer.change(title="Yours")
    assert file.read_text(encoding="utf-8").startswith('title = "Yours"\n')
    page.close()


def test_a_file_with_a_fault_is_shown_with_what_is_wrong(tmp_path):
    file = tmp_path / "faulty.toml"
    file.write_text('titel = "Mine"\nkind = "set"\n', encoding="utf-8")
    page = gl.write_exercise(file)
    assert "there is no entry titel; did you mean title?" in page.panel.told.value
    assert [each["name"] for each in page.panel.proof.fields] == ["prove"]
    page.close()


def test_what_is_wrong_is_told_with_the_labels_of_the_page_and_in_the_words_of_the_file_by_the_proof(tmp_path):
    page, _ = opened(tmp_path, "rides/squeezed-or-ridden")
    page.writer.put("asks", 0, "good", value="It is {nothing}.")
    page.panel._prove_pressed("quick")
    name = page.writer.draft.get("asks", 0, "name")
    assert f"good of ask {name} holds {{nothing}}" in str(page.writer.proof.faults)
    assert f"“Said when it is right” of question “{name}” holds {{nothing}}" in page.panel.result.value
    assert "good of ask" not in page.panel.result.value
    seen = page.panel.sound.values | {"start": 8, "end": 2}
    page.panel._sound_changed(seen)
    assert page.panel.sound.said == "Not taken: “Cut: from” ends before it starts; give the start first."
    page.close()


@pytest.mark.parametrize(
    ("name", "table"),
    [("sends/her-headphones", "checks"), ("trims/one-range", "strips"), ("rides/squeezed-or-ridden", "asks"),
     ("meters/which-is-louder", "asks"), ("sends/her-headphones", "varies"), ("sends/her-headphones", "hints")],
)  # fmt: skip
def test_what_was_taken_away_comes_back_as_it_was_until_something_else_is_changed(tmp_path, name, table):
    page, entries = opened(tmp_path, name)
    form = page.panel.tables[table]

    def buttons():
        return [each["name"] for each in form.form.fields if each["form"] == "button"]

    chosen = form.chosen = next(iter(form.rows))
    form._pressed("drop")
    assert form.form.said == ""
    assert page.writer.draft.entries != entries
    assert buttons()[-1] == "back"
    form._pressed("back")
    assert (page.writer.draft.entries, form.chosen) == (entries, chosen)
    assert tomllib.loads(page.writer.file.read_text(encoding="utf-8")) == entries
    assert "back" not in buttons()
    form._pressed("drop")
    page.writer.change(title="Another title")
    assert "back" not in buttons()
    form._pressed("back")  # from a page that is a moment behind
    assert page.writer.draft.get("title") == "Another title"
    page.close()
