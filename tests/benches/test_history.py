"""Undo and redo, two kept settings, the settings as text: without a browser."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

import gainlib as gl
from gainlib.benches.exercise_panel import CheckedBench

RATE_HZ = 48_000
SINE = np.sin(2 * np.pi * 997 * np.arange(RATE_HZ // 2) / RATE_HZ)


@pytest.fixture
def bench():
    chain = [gl.Source(-30.0), gl.Preamp(33.0), gl.Converter("EBU R 68"), gl.Trim()]
    session = gl.Session.of(gl.Audio(SINE, RATE_HZ), chain, name="voice")
    made = gl.bench(session, controls=["preamp/gain_db", "trim/gain_db"], title="Rehearsal")
    yield made
    made.close()


def gains(bench):
    return list(bench.values.values())


def test_a_step_is_taken_back_and_done_again(bench):
    bench.move("preamp/gain_db", 40.0).move("trim/gain_db", -6.0)
    assert bench.undo_words == "Trim to 0.0 dB"
    assert gains(bench.undo()) == [40.0, 0.0]
    assert bench.redo_words == "Trim to −6.0 dB"
    assert gains(bench.undo()) == [33.0, 0.0]
    assert bench.rendering.level("preamp").peak_dbfs == pytest.approx(-15.0, abs=0.05)
    assert gains(bench.redo().redo()) == [40.0, -6.0]
    # -48 + 40 - 6 dBFS
    assert bench.rendering.level("trim").peak_dbfs == pytest.approx(-14.0, abs=0.05)


def test_a_drag_is_one_step_and_the_next_drag_another(bench):
    for gain_db in (34.0, 35.0, 36.0):
        bench.move("preamp/gain_db", gain_db, stroke=1)
    for gain_db in (37.0, 38.0):
        bench.move("preamp/gain_db", gain_db, stroke=2)
    bench.move("trim/gain_db", -1.0, stroke=2)  # a stroke belongs to one control
    assert gains(bench.undo()) == [38.0, 0.0]
    assert gains(bench.undo()) == [36.0, 0.0]
    assert gains(bench.undo()) == [33.0, 0.0]


def test_a_drag_there_and_back_is_no_step(bench):
    bench.move("preamp/gain_db", 34.0, stroke=1).move("preamp/gain_db", 33.0, stroke=1)
    assert bench.undo_words == ""
    bench.move("preamp/gain_db", 33.0)
    assert bench.undo_words == ""


def test_a_new_move_ends_what_could_be_done_again(bench):
    bench.move("preamp/gain_db", 40.0).undo().move("trim/gain_db", 3.0)
    assert bench.redo_words == ""
    with pytest.raises(gl.GainError, match="there is nothing to redo"):
        bench.redo()


def test_with_nothing_to_undo_that_is_said(bench):
    with pytest.raises(gl.GainError, match="there is nothing to undo"):
        bench.undo()


def test_a_refused_move_is_no_step(bench):
    with pytest.raises(gl.GainError):
        bench.move("preamp/gain_db", 99.0)
    assert bench.undo_words == ""


def test_a_move_that_cannot_be_rendered_is_no_step_and_is_told_beside_its_control(bench, monkeypatch):
    def refused(session, after=None):
        raise gl.GainError("power holds nan; it must be 0 or above.")

    monkeypatch.setattr(gl.Session, "render", refused)
    gain = bench.panel.inputs["preamp/gain_db"]
    gain.value = 40.0
    assert (gain.value, gain.complaint) == (33.0, "power holds nan; it must be 0 or above.")
    assert (bench.undo_words, gains(bench)) == ("", [33.0, 0.0])


def test_a_reset_can_be_undone(bench):
    bench.move("preamp/gain_db", 40.0).move("trim/gain_db", 2.0).reset()
    assert bench.undo_words == "2 controls"
    assert gains(bench.undo()) == [40.0, 2.0]


def test_only_the_last_two_hundred_steps_are_kept(bench):
    for count in range(250):
        bench.move("trim/gain_db", -1.0 if count % 2 else 1.0)
    assert len(bench.history.done) == 200


def test_two_settings_are_kept_and_compared(bench):
    bench.keep("A").move("preamp/gain_db", 40.0).keep("B")
    assert bench.at == "B"
    assert gains(bench.recall("A")) == [33.0, 0.0]
    assert bench.at == "A"
    bench.move("trim/gain_db", 1.0)
    assert bench.at == ""
    assert gains(bench.recall("B")) == [40.0, 0.0]
    assert gains(bench.undo()) == [33.0, 1.0]


@pytest.mark.parametrize(
    ("act", "slot", "words"),
    [
        ("keep", "C", "slot is 'C'; give 'A' or 'B'"),
        ("recall", "a", "slot is 'a'; give 'A' or 'B'"),
        ("recall", "B", "nothing is kept as B yet"),
    ],
)
def test_a_slot_that_is_not_there_is_refused(bench, act, slot, words):
    bench.keep("A")
    with pytest.raises(gl.GainError, match=words):
        getattr(bench, act)(slot)


def test_the_settings_are_written_out(bench):
    bench.move("trim/gain_db", -6.5)
    text = bench.settings_text()
    assert text.splitlines()[:4] == [
        "# Rehearsal",
        "# Preamp gain: +33.0 dB",
        "# Trim: −6.5 dB",
        f"# {bench.advice}",
    ]
    (strip,) = tomllib.loads(text)["strips"]
    assert {"stage": "Trim", "gain_db": -6.5} in strip["stages"]


def test_what_a_checked_learner_copies_tells_the_controls_and_not_what_was_planted(bench):
    checked = CheckedBench(bench.session, controls=["trim/gain_db"])
    assert [line[:2] for line in checked.settings_text().splitlines()] == ["# "] * 3


def test_the_settings_as_text_are_a_session_file(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    session = gl.Session.of(gl.read("media/bass.flac"), [gl.Trim()], name="bass")
    bench = gl.bench(session, controls=["trim/gain_db"]).move("trim/gain_db", -4.5)
    (tmp_path / "copied.toml").write_text(bench.settings_text(), encoding="utf-8")
    assert gl.Session.load("copied.toml").setting("bass/trim/gain_db") == -4.5


def test_a_session_is_saved_as_it_stands_and_opened_on_another_bench(bench, tmp_path):
    bench.move("trim/gain_db", -4.5)
    saved = bench.save(tmp_path / "mine.toml")
    again = gl.bench(gl.Session.load(saved), controls=["trim/gain_db"])
    assert again.values["trim/gain_db"] == -4.5
    assert again.rendering.levels == bench.rendering.levels
    with pytest.raises(gl.GainError, match="mine.toml is there already"):
        bench.save(saved)
    assert bench.save(saved, overwrite=True) == saved


def test_a_follower_undoes_its_own_moves_only(bench):
    other = gl.bench(bench.start, controls=["preamp/gain_db", "trim/gain_db"], follow=bench)
    other.move("trim/gain_db", -3.0)
    bench.move("preamp/gain_db", 50.0)
    assert gains(other.undo()) == [50.0, 0.0]
    assert other.undo_words == ""


# The row of buttons, as the page speaks to it.


def asked(widget, **content):
    widget._handle_custom_msg(content, None)


def test_the_row_does_what_its_buttons_say(bench):
    row = bench.panel.toolbar
    said = []
    row.send = lambda content, buffers=None: said.append(content)
    gain = bench.panel.inputs["preamp/gain_db"]
    for value in (34.0, 35.0, 36.0):
        gain.set_state({"value": value, "stroke": 1})
    assert (row.undo, row.redo) == ("Preamp gain to +33.0 dB", "")
    asked(row, kind="keep B")
    asked(row, kind="undo")
    assert gain.value == 33.0
    assert (row.undo, row.redo, row.kept, row.at) == ("", "Preamp gain to +36.0 dB", ["B"], "")
    asked(row, kind="redo")
    assert (gain.value, row.at) == (36.0, "B")
    asked(row, kind="reset")
    assert gain.value == 33.0
    asked(row, kind="other")
    assert gain.value == 33.0  # neither is there now, so A is asked for, and nothing is kept as A
    asked(row, kind="keep A")
    asked(row, kind="other")
    assert gain.value == 36.0
    asked(row, kind="other")
    assert gain.value == 33.0
    asked(row, kind="copy")
    asked(row, kind="close")
    assert [each["text"] for each in said] == [
        "Kept as B.",
        "Undone: Preamp gain to +33.0 dB.",
        "Done again: Preamp gain to +36.0 dB.",
        "Every control is back where it started.",
        "nothing is kept as A yet; keep the settings first.",
        "Kept as A.",
        "These are the settings kept as B.",
        "These are the settings kept as A.",
        bench.settings_text(),
    ]
    assert bench.panel.closed is False


def test_the_headline_answers_whoever_asks_whether_it_is_there(bench):
    line, said = bench.panel.headline, []
    line.send = lambda content, buffers=None: said.append(content)
    asked(line, kind="there")
    assert said == [{"kind": "here"}]
