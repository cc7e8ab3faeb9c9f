"""What is so, beside what was predicted: nowhere on the page before the prediction was given or waived."""

from __future__ import annotations

import pytest

from gainlib.errors import GainError
from gainlib.widgets import compare as compare_file
from gainlib.widgets.compare import compare
from gainlib.widgets.course_questions import CourseQuestion, course_questions
from gainlib.widgets.predict import predict


@pytest.fixture(autouse=True)
def nothing_asked(monkeypatch):
    for name in ("predict._asked", "predict._following", "compare._shown"):
        monkeypatch.setattr(f"gainlib.widgets.{name}", {})


def test_a_choice_is_set_beside_what_is_so():
    asked = predict("clip", "What happens?", choices=["Nothing.", "It clips."])
    assert asked.answer is None
    shown = compare("clip", "It clips.")
    assert shown.sentence == ""
    asked.chosen = 0
    assert asked.answer == "Nothing."
    assert shown.sentence == "You said: “Nothing.” The answer: “It clips.”"
    asked.chosen = 1
    assert shown.sentence == "You said: “It clips.” That is right."


@pytest.mark.parametrize(
    ("answer", "sentence"),
    [
        (None, ""),
        (3.0, "You said: 3.0 dB. Measured: 10.1 dB. You were 7.1 dB too low."),
        (20.0, "You said: 20.0 dB. Measured: 10.1 dB. You were 9.9 dB too high."),
        (10.0, "You said: 10.0 dB. Measured: 10.1 dB. Very close."),
        (float("nan"), ""),
        (-3.0, "You said: −3.0 dB. Measured: 10.1 dB. You were 13.1 dB too low."),
    ],
)
def test_a_number_is_set_beside_the_measured_one(answer, sentence):
    predict("shout", "How far above the verse?", unit="dB").number = answer
    assert compare("shout", 10.1).sentence == sentence


@pytest.mark.parametrize(
    ("unit", "apart"), [("dBFS", "4.0 dB too high"), ("LUFS", "4.0 LU too high"), ("s", "4.0 s too")]
)
def test_levels_lie_decibels_apart(unit, apart):
    predict("a level", "Where does it stand?", unit=unit).number = -14.0
    assert apart in compare("a level", -18.0, unit=unit).sentence


def test_before_it_is_given_or_waived_the_page_holds_no_answer():
    predict("one", "Which?", choices=["It clips.", "It is clean."])
    predict("two", "How far?", unit="dB")
    for shown in (compare("one", "It clips."), compare("two", 41.5)):
        state = str({name: shown.get_state()[name] for name in shown.keys if not name.startswith("_")})
        for answer in ("clips", "41.5"):
            assert answer not in state + repr(shown) + str(shown._repr_mimebundle_())


def test_show_me_shows_it_and_the_sentence_follows_what_is_predicted_then():
    shown = compare("late", 6.0, unit="dB")
    shown._handle_custom_msg({"kind": "show me"}, [])  # what the button on the page sends
    assert shown.sentence == "You made no prediction. Measured: 6.0 dB."
    asked = predict("late", "How far?", unit="dB")
    asked.number = 6.1
    assert shown.sentence == "You said: 6.1 dB. Measured: 6.0 dB. Very close."
    asked.number = None
    assert shown.sentence == "You made no prediction. Measured: 6.0 dB."


def test_a_cell_that_runs_again_stays_shown_and_another_question_begins_anew():
    predict("again", "How far?", unit="dB")
    first = compare("again", 6.0).show_me()
    second = compare("again", 7.0)
    assert second.sentence == "You made no prediction. Measured: 7.0 dB."
    assert first.comm is None
    predict("again", "How long?", unit="s")
    assert compare("again", 7.0).sentence == ""


def test_after_a_restart_it_is_shown_where_it_was_shown(tmp_path, monkeypatch):
    from gainlib.widgets.as_left import AsLeft

    monkeypatch.setattr("gainlib.widgets.compare.as_left", lambda *about: AsLeft(tmp_path / f"{about[1]}.json"))
    compare("kept", 6.0, unit="dB").show_me()
    compare("not kept", 6.0, unit="dB")
    monkeypatch.setattr(compare_file, "_shown", {})
    assert compare("kept", 6.0, unit="dB").sentence == "You made no prediction. Measured: 6.0 dB."
    assert compare("not kept", 6.0, unit="dB").sentence == ""


def test_on_a_page_without_a_kernel_it_is_folded_and_on_the_teachers_page_told():
    predict("html", "<Which>?", choices=["<b>loud</b>", "soft"])
    shown = compare("html", "<b>loud</b>")
    assert "<summary>Show me</summary><p>The answer: &lt;b&gt;loud&lt;/b&gt;.</p></details>" in shown.static_html()
    assert shown.answer_html() == ("<p><strong>&lt;Which&gt;?</strong></p><p>The answer: &lt;b&gt;loud&lt;/b&gt;.</p>")


def test_a_question_of_the_course_is_known_by_its_name():
    asked = predict("time")
    assert asked.choices[0].startswith("About seven and a half hours.")
    shown = compare("time")
    assert (shown.question, shown.sentence) == (asked.question, "")
    asked.chosen = 2
    assert shown.sentence == "You said: “Two hours, a quarter as long.” That is right."
    predict("minutes").number = 20
    assert compare("minutes").sentence == "You said: 20 min. The answer: 15 min. You were 5 min too high."
    assert compare("shout", 10.25).show_me().sentence == "You made no prediction. Measured: 10.2 dB."


def test_a_name_that_the_course_has_not_is_refused_with_the_nearest():
    with pytest.raises(GainError, match=r"no question 'shuot'; give your own as well, .* or did you mean shout\?"):
        predict("shuot")
    with pytest.raises(GainError, match=r"no question 'tme'; give what is so as well, .* or did you mean time\?"):
        compare("tme")
    with pytest.raises(GainError, match=r"the answer to 'shout' is measured; give what is so as well"):
        compare("shout")


def test_each_question_of_the_course_is_whole():
    for name, each in course_questions().items():
        assert each.question.endswith("?"), name
        if each.choices:
            assert len(each.choices) == len(set(each.choices)) == 3, name
            assert each.answer in each.choices, name
        else:
            assert each.unit, name


def test_an_answer_that_is_no_choice_is_refused(tmp_path, monkeypatch):
    from gainlib.widgets import course_questions as file

    (tmp_path / "predictions.toml").write_text('[a]\nquestion = "Which?"\nchoices = ["x", "y"]\nanswer = "z"\n')
    monkeypatch.setattr(file, "bundled_folder", lambda kind: tmp_path)
    with pytest.raises(GainError, match=r"answer of a in predictions.toml is 'z'; give one of its choices"):
        course_questions.__wrapped__()
    assert CourseQuestion("?").answer is None
