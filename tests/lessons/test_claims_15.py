"""What the lesson "Finish a session" says in numbers, measured on the lesson's own session."""

from __future__ import annotations

import json

import pytest

from gainlib.storage import bundled_folder

LESSON = "15-finish-session"


@pytest.fixture(scope="module")
def rough():
    """The session as the lesson's own first two cells build it."""
    notebook = json.loads((bundled_folder("lessons") / f"{LESSON}.ipynb").read_text(encoding="utf-8"))
    names: dict[str, object] = {}
    for cell in [each for each in notebook["cells"] if each["cell_type"] == "code"][:2]:
        exec("".join(cell["source"]), names)
    return names["rough"]


@pytest.fixture(scope="module")
def before(rough):
    return rough.render()


MENDED = {"voice/preamp/gain_db": 33, "voice/trim/gain_db": 6, "bass/preamp/gain_db": 25}
MENDED |= {"bass/trim/gain_db": 3, "snare/trim/gain_db": -1}


@pytest.fixture(scope="module")
def stripwise(rough, before):
    return rough.replaced(MENDED).render(before)


@pytest.fixture(scope="module")
def finished(stripwise):
    last = {"main/trim/gain_db": 0, "main/delivery/loudness_lufs": -23.0}
    return stripwise.session.replaced(last).render(stripwise)


def down(rendering):
    return rendering.reading("main/limiter", "gain_reduction_db")


def test_the_limiter_turns_down_by_8_db(before):
    """Predict: "turns down by up to 8 dB"."""
    assert down(before) == pytest.approx(8, abs=0.5)


def test_two_takes_are_wrong_and_no_others(before):
    """Move: "Two takes are wrong": the voice clips, the bass is far too low."""
    taken = {name: before.level(f"{name}/converter") for name in ("kick", "snare", "bass", "guitar", "voice")}
    assert [name for name, each in taken.items() if each.clipped] == ["voice"]
    assert [name for name, each in taken.items() if each.peak_dbfs < -25] == ["bass"]


def test_the_settings_that_move_names_do_what_it_says(stripwise):
    """Move: "the loudest moment leaves 10 dB or more"; "Raise its preamp to about −17 dBFS"; "about 5 dB at most"."""
    assert stripwise.level("voice/converter").headroom_db >= 10
    assert stripwise.level("bass/converter").peak_dbfs == pytest.approx(-17, abs=0.5)
    assert stripwise.reading("voice/compressor", "gain_reduction_db") == pytest.approx(5, abs=0.5)


def test_nothing_on_the_main_reaches_the_torn_voice(rough, before):
    """Read: "Nothing on the main reaches the torn voice"; "the delivery only turns it up again"."""
    lowered = rough.replaced({"main/trim/gain_db": -6}).render(before)
    assert lowered.level("voice/converter").clipped == before.level("voice/converter").clipped > 100
    assert lowered.reading("main/delivery", "loudness_lufs") == pytest.approx(-14, abs=0.1)


def test_the_snare_had_caused_most_of_the_limiting(rough, before, stripwise):
    """Read: "One strip, the snare, had caused most of it."."""
    assert down(stripwise) == pytest.approx(2.2, abs=0.1)
    snare_only = rough.replaced({"snare/trim/gain_db": -1}).render(before)
    assert down(before) - down(snare_only) > down(before) / 2


def test_at_the_end_the_limiter_has_nothing_to_do_and_the_order_is_met(finished):
    """Read: "At the end the limiter has nothing to do"; set-up: "−23 LUFS, at most −1 dBTP"."""
    assert down(finished) == 0.0
    assert finished.reading("main/delivery", "loudness_lufs") == pytest.approx(-23, abs=0.1)
    assert finished.reading("main/delivery", "true_peak_dbtp") <= -1


def test_every_take_stands_between_minus_20_and_minus_12(finished):
    """Read: "no clipped runs, peaks between −20 and −12 dBFS"."""
    for name in ("kick", "snare", "bass", "guitar", "voice"):
        level = finished.level(f"{name}/converter")
        assert level.clipped == 0
        assert -20 <= level.peak_dbfs <= -12
