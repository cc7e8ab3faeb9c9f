"""Exercises of the other kinds on a bench: questions, candidates, choices and rides make one flat answer."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

import gainlib as gl
from gainlib.benches.candidates import Candidates
from gainlib.benches.inputs import question_input
from gainlib.exercises import Question, author_answer, check

KINDS = Path(__file__).parent / "kinds"
SOLVED = sorted(each.stem for each in KINDS.glob("*.toml"))


@pytest.fixture
def sit(tmp_path, monkeypatch):
    """Sit an exercise of this folder as the learner of an empty folder, or as another."""
    monkeypatch.chdir(tmp_path)
    opened = []

    def sit_it(name, learner=None):
        opened.append(gl.exercise(KINDS / f"{name}.toml", learner))
        return opened[-1]

    yield sit_it
    for each in opened:
        each.close()


def press(sitting, kind="check"):
    desk = sitting.panel.answer
    desk._handle_custom_msg({"kind": kind, "after": desk.answered}, None)
    return desk


@pytest.mark.parametrize("name", SOLVED)
def test_the_authors_answer_given_by_the_widgets_passes_and_is_kept_as_plain_json(sit, tmp_path, name):
    sitting = sit(name)
    panel = sitting.panel
    for key, value in author_answer(sitting.variant).items():
        if key in panel.questions:
            panel.questions[key].follow(list(value) if isinstance(value, tuple) else value)
        else:
            sitting.bench.move(key, value)
    desk = press(sitting)
    assert desk.verdict["head"].startswith("Passed")
    kept = json.loads((tmp_path / "attempts.jsonl").read_text().splitlines()[-1])["answer"]
    assert kept == json.loads(json.dumps(sitting.answer))
    assert check(sitting.variant, kept).passed


def test_without_any_answer_nothing_is_judged_and_no_attempt_is_kept(sit, tmp_path):
    sitting = sit("read-the-verse")
    desk = press(sitting)
    assert desk.missing == (
        "Nothing is checked yet: answer “Peak of the verse” and “When the converter clips first” first."
    )
    assert (desk.verdict, sitting.progress.at(tmp_path).attempts) == ({}, ())
    sitting.panel.questions["level"].follow(-30.0)
    assert desk.missing == ""
    assert "It is higher." in press(sitting).verdict["lines"][0]["sentence"]
    assert len(sitting.progress.at(tmp_path).attempts) == 1


def test_an_answer_that_was_changed_since_is_said_to_be(sit):
    sitting = sit("read-the-verse")
    sitting.reply("level", -30.0)
    assert sitting.panel.questions["level"].number == -30.0
    desk = press(sitting)
    assert desk.stale is False
    sitting.panel.questions["level"].number = -11.0
    assert (desk.stale, sitting.answers["level"]) == (True, -11.0)
    assert press(sitting).stale is False
    sitting.reply("level", None)
    assert (desk.stale, "level" in sitting.answer) == (True, False)
    with pytest.raises(gl.GainError, match="'levle' is not asked here; did you mean level"):
        sitting.reply("levle", 1.0)


MISTYPED = (
    (None, "ten dB", "“ten dB” is not a number"),
    (None, "−12,,5", "“−12,,5” is not a number"),
    (None, "12 Hz", "“12 Hz” is in Hz, and dBFS is asked for"),
    (12.0, "", "12 dBFS is out of reach"),
)


def test_what_was_mistyped_is_said_and_is_no_attempt(sit, tmp_path):
    sitting = sit("read-the-verse")
    field = sitting.panel.questions["level"]
    sitting.reply("level", author_answer(sitting.variant)["level"])
    earlier = press(sitting).verdict
    assert earlier["lines"][0]["passed"] is True
    # As the page gives it: what was typed, and no number.
    field.set_state({"moved": {"turn": 1, "values": {"number": None, "text": "ten dB"}}})
    assert (field.seen, sitting.answers["level"]) == (1, "ten dB")
    head = "Not checked, since “Peak of the verse” is not read: "
    for turn, (number, text, why) in enumerate(MISTYPED, 2):
        field.set_state({"moved": {"turn": turn, "values": {"number": number, "text": text}}})
        desk = press(sitting)
        assert desk.missing == f"{head}{why}; give −60 dBFS to 0 dBFS."
        assert (desk.stale, desk.verdict["hint"]) == (True, earlier["hint"])
        with pytest.raises(gl.GainError, match=re.escape(why)):
            sitting.check()
    assert len(sitting.progress.at(tmp_path).attempts) == 1
    field.set_state({"moved": {"turn": 9, "values": {"number": -30.0, "text": ""}}})
    desk = press(sitting)
    assert (desk.missing, desk.verdict["lines"][0]["passed"]) == ("", False)
    assert len(sitting.progress.at(tmp_path).attempts) == 2


@pytest.mark.parametrize(
    ("name", "ask", "given", "why"),
    [
        ("which-was-clipped", "which", "a", "“Clipped and turned down” is not read: 'a'; known are A, B, C."),
        ("which-was-clipped", "which", 3, "“Clipped and turned down” is not read: 3; known are A, B, C."),
        ("in-order", "order", ["A", "B"], "“The quietest first” is not read: a list; give each of A, B, C once."),
        ("in-order", "order", 3, "“The quietest first” is not read: 3; give each of A, B, C once."),
        ("read-the-verse", "level", [3.0], "a list is not a number; give −60 dBFS to 0 dBFS."),
    ],
)
def test_what_no_field_can_show_is_refused_in_a_sentence(sit, name, ask, given, why):
    sitting = sit(name)
    assert sitting.panel.questions[ask].value is None
    with pytest.raises(gl.GainError, match=re.escape(why) + "$"):
        sitting.reply(ask, given)
    assert sitting.answers[ask] is None


def test_what_a_control_could_not_take_is_told_beside_what_was_checked(sit):
    sitting = sit("even-out")
    table = sitting.bench.panel.inputs["voice/ride/points"]
    table.set_state({"moved": {"turn": 1, "values": {"unread": "Point 1: “x” is not a number."}}})
    press(sitting)
    note = "Not read: Ride points. Point 1: “x” is not a number. What is checked is no breakpoints."
    assert sitting.panel.answer.verdict["notes"] == [note]
    table.set_state({"moved": {"turn": 2, "values": {"unread": "", "points": [[0.5, 3.0]]}}})
    press(sitting)
    assert sitting.panel.answer.verdict["notes"] == []


def test_what_is_asked_is_not_told_by_the_bench(sit):
    sitting = sit("read-the-verse")
    assert str(sitting.bench.advice) == "Look and listen, then answer below."
    plain = gl.bench(sitting.variant.session)
    assert plain.advice.facts.startswith("The converter clips")
    # Nothing moves: no before and after, nothing to take back.
    assert (sitting.panel.exercise.bench.panel.player.slots, sitting.bench.moves) == (["after"], False)
    assert sitting.bench.panel.row.children == (sitting.bench.panel.player,)


def test_a_ride_and_a_switch_are_moved_by_their_own_inputs(sit):
    sitting = sit("even-out")
    bench = sitting.bench
    assert [type(each).__name__ for each in bench.panel.inputs.values()] == ["RideTable", "PickInput"]
    assert [each.name for each in bench.views] == ["waveform", "ride"]
    bench.panel.inputs["voice/ride/points"].points = [[0.5, 3.0], [2.0, -4.5]]
    bench.panel.inputs["voice/fader/muted"].chosen = 0
    assert sitting.answer == {"voice/ride/points": [[0.5, 3.0], [2.0, -4.5]], "voice/fader/muted": False}
    control = bench.controls["voice/ride/points"]
    assert (control.low, control.high) == (-12.0, 12.0)


def test_candidates_are_shown_and_heard_one_at_a_time_in_the_learners_own_order(sit):
    sitting = sit("which-was-clipped", "ada")
    candidates = sitting.candidates
    assert candidates.player.slots == ["A", "B", "C"]
    for label in "CAB":
        candidates.player._handle_custom_msg({"kind": "choose", "slot": label}, None)
        wanted = next(each.session for each in sitting.variant.candidates if each.label == label).render()
        assert candidates.pictures[0].heading.startswith(f"{label}: ")
        assert candidates.pictures[0].sentence == f"{label}: {candidates.views[0].sentence(wanted)}"
        heard = candidates.player.heard(label)[:, 0]
        assert np.array_equal(heard, wanted.at(sitting.variant.listen).samples.reshape(len(heard), -1)[:, 0])
    candidates.player._handle_custom_msg({"kind": "choose", "slot": "D"}, None)
    assert candidates.chosen == "B"
    with pytest.raises(gl.GainError, match="there is no candidate 'D'"):
        candidates.choose("D")
    names = {tuple(each.name for each in sit("which-was-clipped", f"learner {index}").variant.candidates)
             for index in range(12)}  # fmt: skip
    assert len(names) > 2


def test_candidates_are_heard_at_one_loudness_and_it_is_not_said_which_was_louder(sit):
    pyebur128 = pytest.importorskip("pyebur128")
    sitting = sit("which-was-clipped", "ada")
    player = sitting.candidates.player
    sent = []
    player.send = lambda content, buffers=None: sent.append((content, buffers))
    loudness = []
    for label in "ABC":
        player._handle_custom_msg({"kind": "want", "slot": label}, None)
        content, buffers = next(pair for pair in reversed(sent) if pair[0]["kind"] == "samples")
        codes = np.frombuffer(buffers[0], "<i2").reshape(content["channels"], content["length"]).T / 32767
        meter = pyebur128.R128State(content["channels"], content["rate_hz"], pyebur128.MeasurementMode.MODE_I)
        gain = 10 ** (content["gains"][label] / 20)
        meter.add_frames(np.ascontiguousarray(codes * gain, dtype=np.float64).ravel(), content["length"])
        loudness.append(pyebur128.get_loudness_global(meter))
        player._handle_custom_msg({"kind": "arrived", "slot": label}, None)
    assert max(loudness) - min(loudness) < 0.2
    assert player.matched == "all at the same level (loudness)"


def test_where_level_is_the_question_each_candidate_keeps_its_own(sit):
    player = sit("in-order", "ada").candidates.player
    player._handle_custom_msg({"kind": "ended"}, None)
    assert (player.matching, set(player.gains.values())) == (False, {0.0})


def test_after_a_miss_the_chosen_one_is_told_and_after_a_pass_all(sit):
    sitting = sit("which-was-clipped", "ada")
    labels = {each.name: each.label for each in sitting.variant.candidates}
    sitting.reply("which", labels["low"])
    assert sitting.told == ()
    desk = press(sitting)
    assert desk.verdict["told"] == [f"You chose {labels['low']}: clean and low."]
    assert "turned down" not in json.dumps(desk.verdict["lines"]).replace("Clipped and turned down", "")
    sitting.reply("which", labels["squashed"])
    desk = press(sitting)
    (line,) = desk.verdict["lines"]
    assert all(f"{label}: " in line["sentence"] for label in "ABC")
    assert desk.verdict["told"] == []


def test_an_order_counts_once_each_has_its_place():
    asked = question_input(Question("order", "The quietest first", "order", choices=("A", "B", "C")))
    assert asked.value is None
    asked.order = [2, 0]
    assert asked.value is None
    asked.order = [2, 0, 1]
    assert asked.value == ["C", "A", "B"]
    asked.follow(None)
    assert (asked.value, asked.order) == (None, [])
    asked.close()


def test_a_choice_that_the_page_cannot_have_made_is_no_answer():
    asked = question_input(Question("where", "Where", "choice", choices=("kick", "bass")))
    asked.chosen = 7
    assert asked.value is None
    asked.follow("bass")
    assert (asked.value, asked.chosen) == ("bass", 1)
    asked.close()


def test_one_candidate_is_no_choice(sit):
    session = sit("read-the-verse", "ada").variant.session
    with pytest.raises(gl.GainError, match="there are 1 candidates; give 2 or more"):
        Candidates({"A": session})


@pytest.mark.parametrize("name", SOLVED)
def test_closing_frees_every_widget(tmp_path, monkeypatch, name):
    from ipywidgets.widgets.widget import _instances

    monkeypatch.chdir(tmp_path)
    before = len(_instances)
    sitting = gl.exercise(KINDS / f"{name}.toml", "ada")
    sitting.panel  # noqa: B018 - makes the widgets
    assert len(_instances) > before
    sitting.close()
    assert len(_instances) == before
