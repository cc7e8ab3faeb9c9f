"""A session as data: paths, routes, and a sentence for each thing that cannot be."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.flow import Bus, Send, Session, Strip
from gainlib.stages import Compressor, Converter, Delivery, Fader, Limiter, Preamp, Source, Trim

TAKE = Audio(np.zeros(480), 48_000, "take")


def strip(name: str = "voice", to: str = "main", sends: tuple[Send, ...] = (), take: Audio = TAKE) -> Strip:
    return Strip(name, take, (Trim(), Fader()), to, sends)


def test_settings_are_read_and_replaced_by_path_everywhere(session: Session) -> None:
    changed = session.replaced(
        {
            "voice/fader/gain_db": -9.0,
            "band/saturation/drive_db": 1.0,
            "main/limiter/ceiling_dbfs": -2.0,
            "voice/send to hall/gain_db": -3.0,
        }
    )
    assert changed.setting("voice/fader/gain_db") == -9.0
    assert changed.setting("band/saturation/drive_db") == 1.0
    assert changed.setting("main/limiter/ceiling_dbfs") == -2.0
    assert changed.setting("voice/send to hall/gain_db") == -3.0
    assert session.setting("voice/fader/gain_db") == -4.0
    assert changed.setting("guitar/fader/gain_db") == -8.0


def test_one_strip_needs_no_name_in_its_paths() -> None:
    alone = Session.of(TAKE, [Trim(-3.0)])
    assert alone.setting("trim/gain_db") == -3.0
    assert alone.tap("trim") == ("take", "trim")
    assert alone.with_take(Audio(np.ones(10), 44_100)).strips[0].take.rate_hz == 44_100


def test_buses_bring_a_main_along() -> None:
    made = Session((strip(to="band"),), (Bus("band"),))
    assert made.main == Bus("main")


def test_buses_are_ordered_so_that_each_comes_after_what_feeds_it() -> None:
    buses = (Bus("c"), Bus("a", to="b"), Bus("b", to="c"))
    made = Session((strip(to="a"),), buses)
    assert [each.name for each in made.channels] == ["voice", "a", "b", "c", "main"]


def test_a_bus_may_end_by_itself_and_nobody_sums_it() -> None:
    tone = Audio(np.full(480, 0.5), 48_000, "take")
    buses = (Bus("cue", (Trim(-6.0),), to=""), Bus("hall"))
    made = Session((strip(take=tone, sends=(Send("cue", 0.0), Send("hall", -20.0))),), buses)
    rendering = made.render()
    db = 20 * np.log10(np.abs([rendering.at(tap).samples.max() for tap in ("cue/trim", "main/sum")]))
    assert db == pytest.approx([20 * math.log10(0.5) - 6, 20 * math.log10(0.5 * (1 + 0.1))])
    assert rendering.last_tap == "main/sum"


FAULTS = [
    (lambda: Session((strip(to="cue"),), (Bus("cue", to=""),)), "nothing goes to 'main'"),
    (lambda: Session((strip(to=""),), (), Bus("main")), "strip 'voice' goes to '', which is no bus"),
    (lambda: Session(()), "the session has no strips; give at least one"),
    (lambda: Session((strip(), strip())), "the session has two strips named 'voice'"),
    (lambda: Session((strip("x", "x"),), (Bus("x"),)), "the name 'x' is taken twice by strips and buses"),
    (
        lambda: Session((strip(to="bnad"),), (Bus("band"),)),
        "strip 'voice' goes to 'bnad', which is no bus; did you mean band",
    ),
    (
        lambda: Session((strip(sends=(Send("hall"),)),), (), Bus("main")),
        "goes to 'hall', which is no bus; known are main",
    ),
    (lambda: Session((strip(to="band"),)), "strip 'voice' goes to a bus, but there is none; add buses or a main"),
    (lambda: Session((strip(),), (Bus("band"),)), "nothing goes to 'band'"),
    (lambda: Session((strip(to="a"),), (Bus("a", to="a"),), Bus("main")), "loop: a to a; take"),
    (
        lambda: Session((strip(to="a"), strip("x")), (Bus("a", to="b"), Bus("b", sends=(Send("a"),)))),
        "the buses feed each other in a loop: a to b to a; take one of these routes away",
    ),
    (lambda: Session((strip("main"),), (), Bus("main")), "a strip or bus is named 'main'; that name is kept"),
    (lambda: Session((strip(),), (), Bus("all")), "the main is named 'all'; it must be named 'main'"),
    (lambda: Session((strip(),), (), Bus("main", sends=(Send("main"),))), "the main has sends"),
    (
        lambda: Session((strip(), strip("x", take=Audio(np.zeros(10), 44_100))), (), Bus("main")),
        "strip 'x' has 44 100 Hz and strip 'voice' 48 000 Hz; convert one of them",
    ),
    (lambda: Strip("voice", TAKE, ()), "strip 'voice' has no stages; give at least one"),
    (lambda: Strip("voice", TAKE, (Trim(), Trim())), "strip 'voice' has two stages named 'trim'"),
    (lambda: Strip("voice", TAKE, (Preamp(), Converter(18.0))), "puts the preamp on the converter's digital side"),
    (lambda: Strip("voice", TAKE, (Source(), Trim())), "puts the trim on the analogue side; it takes digital signal"),
    (lambda: Strip("voice", TAKE, (Source(), Preamp())), "ends before a converter; put a Converter after"),
    (lambda: Strip("voice", TAKE, (Delivery(), Trim())), "puts the trim behind the delivery; .* put the delivery last"),
    (lambda: Bus("band", (Source(), Converter(18.0), Trim(), Trim())), "bus 'band' has two stages named 'trim'"),
    (lambda: Bus("a/b"), "bus 'a/b' needs a name without a slash"),
    (
        lambda: Strip("voice", TAKE, (Trim(),), sends=(Send("hall", pre_fader=True),)),
        "sends before its fader, but has no fader",
    ),
    (lambda: strip(sends=(Send("hall"), Send("hall"))), "strip 'voice' has two sends to 'hall'; leave one"),
    (lambda: Session((Strip("v", TAKE, (Delivery(),)),), (), Bus("main")), "has a delivery, but goes on to a bus"),
    (lambda: Send("hall", math.nan), "gain_db of the send to hall is nan; it must be a number"),
    (lambda: Send("hall", pre_fader=1), "pre_fader of the send to hall is 1; give True or False"),
]


@pytest.mark.parametrize(("make", "sentence"), FAULTS)
def test_what_cannot_be_is_told_in_a_sentence(make, sentence: str) -> None:
    with pytest.raises(GainError, match=sentence):
        make()


def test_each_fault_has_a_sentence_of_its_own() -> None:
    with pytest.raises(GainError) as caught:
        Session((strip(to="x"), strip("bass", to="y")), (), Bus("main"))
    assert len(str(caught.value).split("\n")) == 2


@pytest.mark.parametrize(
    ("path", "sentence"),
    [
        ("voise/fader/gain_db", "no strip or bus 'voise'; did you mean voice"),
        ("voice/fadr/gain_db", "strip 'voice' has no stage 'fadr'; did you mean fader"),
        ("band/saturation/drive", "band/saturation has no setting 'drive'; did you mean drive_db"),
        ("voice/send to hall/gain", "voice/send to hall has no setting 'gain'; did you mean gain_db"),
        ("voice", "'voice' is not a tap; write strip/stage, for example voice/trim"),
    ],
)
def test_a_wrong_path_is_told_in_a_sentence(session: Session, path: str, sentence: str) -> None:
    with pytest.raises(GainError, match=sentence):
        session.setting(path)


def test_a_value_out_of_range_is_refused_when_it_is_replaced(session: Session) -> None:
    with pytest.raises(GainError, match="ratio of the compressor is 0; it must be 1 or above"):
        session.replaced({"voice/compressor/ratio": 0})


def test_the_stage_types_are_all_of_the_stages() -> None:
    assert Strip("v", TAKE, (Compressor(), Limiter())).stage_names == ("compressor", "limiter")
