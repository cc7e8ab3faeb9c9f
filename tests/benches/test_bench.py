"""A bench without a browser: its controls, its errors, what its widgets hold, and what reaches the ears."""

from __future__ import annotations

import asyncio
import ctypes.util
import gc
import json
import math
import subprocess
import sys
import weakref
from types import SimpleNamespace

import ipywidgets
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from IPython.core.events import EventManager, available_events

import gainlib as gl
from gainlib.flow.buffers import PAUSE_SECONDS
from gainlib.views import Waveform
from gainlib.widgets.cell_display import close_tree
from gainlib.widgets.listening import CAUTION, CEILING_DBFS, listening_codes, matched_db, matched_words
from gainlib.widgets.player import Player
from gainlib.widgets.resting import rest_in_pauses

RATE_HZ = 48_000
SINE = np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ)


@pytest.fixture
def session():
    """A sine that stands at -48 dBFS plus the preamp's gain (EBU R 68: 0 dBFS is +18 dBu)."""
    converter = gl.Converter("EBU R 68", dynamic_range_db=float("inf"))
    chain = [gl.Source(-30.0), gl.Preamp(33.0), converter, gl.Trim()]
    return gl.Session.of(gl.Audio(SINE, RATE_HZ), chain, name="voice")


@pytest.fixture
def bench(session):
    made = gl.bench(session, controls=["preamp/gain_db", "trim/gain_db"], views=["level diagram", "waveform"])
    yield made
    made.close()


def test_bench_and_survey_are_functions_whatever_was_opened_before():
    code = (
        "import gainlib.benches.survey_panel, gainlib.surveys.trims, gainlib.surveys.survey, gainlib as gl\n"
        "import types; print(all(isinstance(each, types.FunctionType) for each in (gl.bench, gl.survey, gl.learner)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "True"


def test_a_survey_in_a_script_opens_no_widgets_until_its_bench_is_asked_for(tmp_path):
    code = """
import sys
import gainlib as gl
from gainlib.storage import bundled_folder
found = gl.survey(bundled_folder("media") / "kick.flac", workers=1)
found.sheet(sys.argv[1])
opened = lambda: [each for each in ("bokeh", "ipywidgets", "anywidget", "IPython") if each in sys.modules]
print(opened())
assert found.bench is not None
print(opened())
"""
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "sheet.html")], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[0] == "[]"
    assert "ipywidgets" in done.stdout.splitlines()[1]


def test_a_bench_without_its_panel_needs_no_widgets():
    code = """
import sys
import numpy as np
import gainlib as gl
from gainlib.benches.bench_model import BenchModel
hum = gl.Session.of(gl.Audio(0.1 * np.sin(np.arange(4800) / 8), 48000), [gl.Trim()], name="hum")
bench = BenchModel(hum, ["trim/gain_db"])
told = []
bench.on_move(lambda _: told.append("move")); bench.on_listen(lambda _: told.append("listen"))
bench.on_keep(lambda _: told.append("keep")); bench.on_strip(lambda _: told.append("strip"))
bench.move("trim/gain_db", 3.0).keep("A").hear("trim").show("hum")
print(told, [each for each in ("ipywidgets", "anywidget", "IPython") if each in sys.modules])
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "['move', 'keep', 'listen', 'strip'] []"


def test_every_control_goes_to_its_ends_and_middle_and_the_bench_says_the_level(bench):
    # The expected peaks: -48 dBFS + preamp + trim, held at full scale by the converter in between.
    for path, gain_db, peak_dbfs in [
        ("preamp/gain_db", 0.0, -48.0),
        ("preamp/gain_db", 30.0, -18.0),
        ("preamp/gain_db", 60.0, 0.0),
        ("trim/gain_db", -24.0, -24.0),
        ("trim/gain_db", 0.0, 0.0),
        ("trim/gain_db", 24.0, 24.0),
    ]:
        bench.move(path, gain_db)
        assert bench.values[path] == gain_db
        assert bench.rendering.level("trim").peak_dbfs == pytest.approx(peak_dbfs, abs=0.05)
        assert gl.measure("peak_dbfs", bench.rendering.at("trim")) == pytest.approx(peak_dbfs, abs=0.05)
        assert len(bench.sentences) == 2
    assert bench.advice.facts.startswith("The preamp clips 1994 times, the converter 1994 times.")
    bench.reset()
    assert bench.values == {"preamp/gain_db": 33.0, "trim/gain_db": 0.0}
    assert str(bench.advice) == "Nothing clips. The converter has 15.0 dB left below full scale."


def test_a_move_reuses_the_stages_before_it(bench):
    before = bench.rendering.taps["voice", "converter"]
    bench.move("trim/gain_db", -6.0)
    assert bench.rendering.taps["voice", "converter"] is before


def test_a_path_may_carry_the_strip(bench):
    bench.move("voice/preamp/gain_db", 20.0)
    assert bench.values["preamp/gain_db"] == 20.0


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        ("preamp/gain_db", 72, "preamp/gain_db is \\+72.0 dB; this control goes from 0.0 dB to \\+60.0 dB"),
        ("preamp/gain_db", -0.5, "preamp/gain_db is −0.5 dB; this control goes from"),
        ("preamp/gain_db", math.nan, "preamp/gain_db is nan; give a number from 0.0 dB to"),
        ("preamp/gain_db", "40", "preamp/gain_db is '40'; give a number"),
        ("preamp/gain_db", True, "preamp/gain_db is True; give a number"),
        ("preamp/gain", 40, "'preamp/gain' has no control on this bench; did you mean preamp/gain_db\\?"),
        ("converter/bits", 16, "'converter/bits' has no control on this bench"),
    ],
)
def test_a_move_that_cannot_be_is_refused_in_words_and_changes_nothing(bench, path, value, words):
    before = bench.values, bench.rendering
    with pytest.raises(gl.GainError, match=words):
        bench.move(path, value)
    assert (bench.values, bench.rendering) == before


@pytest.mark.parametrize(
    ("given_", "words"),
    [
        ({"controls": ["preamp/gane_db"]}, "voice/preamp has no setting 'gane_db'; did you mean gain_db\\?"),
        ({"controls": ["preemp/gain_db"]}, "strip 'voice' has no stage 'preemp'; did you mean preamp\\?"),
        ({"controls": "preamp/gain_db"}, "controls is 'preamp/gain_db'; give a list"),
        ({"controls": [7]}, "7 is not a control; give the path of a setting"),
        ({"controls": ["source/noise_dbfs"]}, "a control moves numbers, choices and switches"),
        ({"controls": ["preamp/input_noise_dbu"]}, "preamp/input_noise_dbu has no usual range; give Control"),
        ({"controls": [gl.Control("trim/gain_db", low=6.0, high=-6.0)]}, "give low < high, step > 0"),
        ({"controls": [gl.Control("trim/gain_db", low=1.0)]}, "trim/gain_db is 0.0 dB; this control goes from \\+1.0"),
        ({"views": ["level diagramm"]}, "'level diagramm' is not a view; did you mean level diagram\\?"),
        ({"views": [Waveform("convertor")]}, "has no stage 'convertor'"),
        ({"listen": "file"}, "strip 'voice' has no stage 'file'"),
    ],
)
def test_what_is_not_there_is_refused_when_the_bench_is_set_up(session, given_, words):
    with pytest.raises(gl.GainError, match=words):
        gl.bench(session, **given_).panel  # noqa: B018 - a view looks at its tap when it is drawn


def test_a_bench_wants_a_session():
    with pytest.raises(gl.GainError, match="session is a str; give a Session"):
        gl.bench("voice")


def test_a_control_takes_what_it_is_not_told_from_the_setting(session):
    made = gl.bench(session, controls=[gl.Control("preamp/gain_db", high=50.0, label="Level"), "source/full_scale_dbu"])
    level, source = made.controls.values()
    assert (level.low, level.high, level.step, level.start) == (0.0, 50.0, 1.0, 33.0)
    assert (level.name, level.printed(33.0)) == ("Preamp level", "+33.0 dB")
    assert (source.name, source.printed(-30.0)) == ("Source level", "−30.0 dBu")


def test_a_notebook_that_shows_no_widgets_shows_the_sentence(bench):
    shown = bench._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in shown
    assert shown["text/plain"] == (
        "<bench Voice, 1 s: preamp/gain_db +33.0 dB, trim/gain_db 0.0 dB. "
        "Nothing clips. The converter has 15.0 dB left below full scale.>"
    )


def test_callbacks_hear_every_move_until_they_are_stopped(bench):
    heard = []
    stop = bench.on_move(lambda moved: heard.append(moved.values["trim/gain_db"]))
    bench.move("trim/gain_db", -3.0).move("trim/gain_db", -4.5)
    stop()
    bench.move("trim/gain_db", 0.0)
    assert heard == [-3.0, -4.5]


def test_a_bench_that_follows_takes_over_what_the_other_moves(session):
    first = gl.bench(session, controls=["preamp/gain_db", "trim/gain_db"]).move("preamp/gain_db", 40.0)
    second = gl.bench(session, controls=["preamp/gain_db", "trim/gain_db"], follow=first)
    assert second.values == {"preamp/gain_db": 40.0, "trim/gain_db": 0.0}
    second.move("trim/gain_db", -6.0)
    first.move("preamp/gain_db", 25.0)
    assert second.values == {"preamp/gain_db": 25.0, "trim/gain_db": -6.0}
    second.move("preamp/gain_db", 30.0)
    assert first.values == {"preamp/gain_db": 25.0, "trim/gain_db": 0.0}
    first.move("trim/gain_db", 3.0)
    assert second.values == {"preamp/gain_db": 30.0, "trim/gain_db": 3.0}  # what did not move stays as it was set here


def test_what_a_bench_took_over_reaches_the_one_that_follows_it(session):
    first = gl.bench(session, controls=["preamp/gain_db"])
    second = gl.bench(session, controls=["trim/gain_db"], follow=first)
    third = gl.bench(session, follow=second)
    first.move("preamp/gain_db", 25.0)
    second.move("trim/gain_db", -6.0)
    assert (third.session.setting("preamp/gain_db"), third.session.setting("trim/gain_db")) == (25.0, -6.0)
    fourth = gl.bench(session, follow=third)
    assert fourth.session == third.session


def test_what_is_moved_while_a_bench_that_follows_is_made_reaches_it(session):
    first = gl.bench(session, controls=["preamp/gain_db"])
    moved = (first.move("preamp/gain_db", 25.0) and each for each in ["level diagram"])
    second = gl.bench(session, views=moved, follow=first)
    assert second.session.setting("preamp/gain_db") == 25.0


def test_a_bench_that_follows_is_not_kept_alive_by_the_one_it_follows(session):
    first = gl.bench(session, controls=["preamp/gain_db"])
    second = gl.bench(session, controls=["preamp/gain_db"], follow=first)
    follower = weakref.ref(second)
    del second
    gc.collect()
    assert follower() is None
    first.move("preamp/gain_db", 26.0)
    assert first.on_move.listeners == []


def test_benches_that_wait_let_go_of_samples_and_the_one_in_use_does_not(session):
    first = gl.bench(session, controls=["trim/gain_db"])
    held = first.rendering.held_bytes
    assert held > 0
    other = gl.bench(session, controls=["trim/gain_db"])
    assert (first.rendering.held_bytes, other.rendering.held_bytes) == (0, held)
    first.move("trim/gain_db", -6.0)
    assert other.rendering.held_bytes == 0
    follower = gl.bench(session, follow=first)
    first.move("trim/gain_db", -3.0)
    first.move("trim/gain_db", -6.0)
    assert first.rendering.held_bytes == follower.rendering.held_bytes == held
    assert first.advice == gl.bench(session.replaced({"trim/gain_db": -6.0})).advice


def test_before_the_first_move_nothing_is_measured_to_match_it(session, monkeypatch):
    measured = []
    monkeypatch.setattr("gainlib.widgets.player.level_heard", lambda *given: measured.append(given))
    player = gl.bench(session, controls=["trim/gain_db"]).panel.player
    player._handle_custom_msg({"kind": "ended"}, None)
    assert (player.matched, player.gains, measured) == (
        "before and after are the same sound", {"before": 0.0, "after": 0.0}, []
    )  # fmt: skip


def test_the_widgets_follow_the_bench_and_the_bench_the_widgets(bench):
    panel = bench.panel
    gain = panel.inputs["preamp/gain_db"]
    assert (gain.value, gain.low, gain.high, gain.step, gain.unit, gain.name) == (
        33.0,
        0.0,
        60.0,
        1.0,
        "dB",
        "Preamp gain",
    )
    gain.value = 52.5
    assert bench.values["preamp/gain_db"] == 52.5
    assert panel.headline.what == "The converter clips 1994 times."
    assert panel.pictures[0].columns["trouble"]["text"] == ["▼ clips 1994 times"]
    assert panel.pictures[0].sentence == bench.sentences[0]
    drawn = np.frombuffer(panel.pictures[0].columns["band"]["peak"]["f4"], dtype="<f4")
    assert drawn[2] == pytest.approx(4.5, abs=0.05)  # -48 + 52.5 dBFS in front of the converter
    bench.move("preamp/gain_db", 20.0)
    assert gain.value == 20.0
    bench.reset()
    assert gain.value == 33.0


def test_a_widget_value_out_of_reach_is_refused_in_words_not_clamped(bench):
    gain = bench.panel.inputs["preamp/gain_db"]
    gain.value = 72.0
    assert gain.complaint.startswith("preamp/gain_db is +72.0 dB; this control goes from 0.0 dB to +60.0 dB")
    assert gain.value == 33.0
    assert bench.values["preamp/gain_db"] == 33.0
    gain.value = 34.0
    assert gain.complaint == ""


def test_each_control_stands_in_the_column_of_its_stage(bench):
    panel = bench.panel
    columns = {widget: column for column in panel.below.children for widget in column.children}
    assert columns[panel.inputs["preamp/gain_db"]].layout.grid_area == "1 / 2"
    assert columns[panel.inputs["trim/gain_db"]].layout.grid_area == "1 / 4"
    grid = panel.strip.children[1]
    assert isinstance(grid, ipywidgets.GridBox)
    assert grid.layout.grid_template_columns == "repeat(4, minmax(0, 1fr))"
    figure = json.loads(panel.pictures[0].spec)
    assert figure["root_id"]
    assert "Bokeh" not in panel.pictures[0].spec  # the script is not in the notebook


def shell_that_runs(monkeypatch, cell, run):
    """A notebook's shell in the middle of a run of one of its cells."""
    parent = {"metadata": {"cellId": cell}, "header": {"msg_id": run, "msg_type": "execute_request"}}
    shell = SimpleNamespace(get_parent=lambda: parent)
    shell.events = EventManager(shell, available_events)
    monkeypatch.setattr("IPython.get_ipython", lambda: shell)

    def again(cell, run):
        shell.events.trigger("post_run_cell", None)
        parent["metadata"]["cellId"], parent["header"]["msg_id"] = cell, run

    return again


def alive():
    from ipywidgets.widgets.widget import _instances

    return len(_instances)


def test_a_bench_that_a_cell_showed_rests_when_the_cell_has_run_and_moves_as_before(session, monkeypatch):
    run = shell_that_runs(monkeypatch, "cell-1", "run-1")
    bench, other = (gl.bench(session, controls=["preamp/gain_db"]) for _ in range(2))
    bench._repr_mimebundle_()
    assert bench.rendering.held_bytes > 0
    said = str(bench.advice)
    run("cell-2", "run-2")
    assert bench.rendering.held_bytes == bench.before.held_bytes == 0
    assert str(bench.advice) == said
    assert bench.move("preamp/gain_db", 33.0).rendering.levels == other.move("preamp/gain_db", 33.0).rendering.levels
    bench.close()


def test_a_bench_rests_when_nothing_was_moved_for_a_while(session, run_at_once):
    shell = SimpleNamespace()
    shell.events = EventManager(shell, available_events)
    rest_in_pauses(shell)
    bench = gl.bench(session, controls=["preamp/gain_db"])

    async def moved_and_left():
        kept = []
        for gain_db in (30.0, 31.0, 32.0, 33.0):
            bench.move("preamp/gain_db", gain_db)
            shell.events.trigger("post_execute")
            await asyncio.sleep(PAUSE_SECONDS - 0.1)
            kept.append(bench.rendering.held_bytes)
        await asyncio.sleep(0.2)
        return kept

    kept = run_at_once(moved_and_left())
    assert min(kept) > 0  # each move puts the pause off
    assert bench.rendering.held_bytes == 0


def test_what_is_free_after_a_cell_goes_back_to_the_system():
    libc = ctypes.util.find_library("c")
    if not libc or not hasattr(ctypes.CDLL(libc), "malloc_trim"):
        pytest.skip("this C library keeps what is free as it likes")
    code = """
import psutil
from gainlib.flow.buffers import give_back

blocks = [bytearray(100_000) for _ in range(1000)]  # each too small to be mapped alone
del blocks[:-1]  # the last one holds the heap's end
held = psutil.Process().memory_info().rss
give_back()
print(held - psutil.Process().memory_info().rss)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert int(done.stdout) > 50_000_000


def test_running_a_cell_again_closes_all_that_it_showed(session, monkeypatch):
    run = shell_that_runs(monkeypatch, "cell-1", "run-1")
    settings = {"controls": ["preamp/gain_db"], "views": ["level diagram", "waveform"]}
    at_first = alive()
    first, beside = gl.bench(session, **settings), gl.bench(session, **settings)
    first._repr_mimebundle_()
    beside._repr_mimebundle_()
    assert first.panel.closed is False  # two in one run stand side by side
    two = alive() - at_first
    assert two > 10
    run("cell-2", "run-2")
    other = gl.bench(session, **settings)
    other._repr_mimebundle_()
    panels = first._panel, beside._panel
    for count in range(5):
        run("cell-1", f"run-{count + 3}")
        again = gl.bench(session, **settings)
        again._repr_mimebundle_()
    assert all(panel.closed for panel in panels)
    assert other.panel.closed is False
    assert alive() - at_first == two
    again.close()
    other.close()
    assert alive() == at_first


def test_one_key_stands_once_in_whatever_cell(session, monkeypatch):
    run = shell_that_runs(monkeypatch, "cell-1", "run-1")
    first = gl.bench(session, key="rehearsal")
    first._repr_mimebundle_()
    panel = first.panel
    run("cell-2", "run-2")
    second = gl.bench(session, key="rehearsal")
    second._repr_mimebundle_()
    assert (panel.closed, second.panel.closed) == (True, False)
    second.close()


def test_a_bench_shown_again_is_the_same_panel(session, monkeypatch):
    run = shell_that_runs(monkeypatch, "cell-1", "run-1")
    made = gl.bench(session)
    made._repr_mimebundle_()
    panel = made.panel
    run("cell-1", "run-2")
    made._repr_mimebundle_()
    assert made.panel is panel
    assert panel.closed is False
    made.close()
    assert made.panel is not panel  # closed, and asked for again: a new one
    made.close()


def test_close_tree_ends_what_holds_itself():
    box = ipywidgets.VBox([ipywidgets.HBox([])])
    box.children[0].children = [box]
    close_tree(box)
    assert box.comm is None


# What reaches the ears.


@given(st.lists(st.floats(allow_nan=True, allow_infinity=True, width=64), min_size=1, max_size=50))
def test_no_sample_lifts_the_listening_ceiling(samples):
    codes = listening_codes(np.array(samples))
    assert codes.dtype == np.dtype("<i2")
    assert np.abs(codes.astype(int)).max() <= 32767


def test_the_guard_holds_sixty_decibels_too_much_and_silences_what_is_no_number():
    loud = 1000.0 * SINE  # +60 dB
    loud[100:200] = np.nan
    loud[200] = np.inf
    codes = listening_codes(loud)
    heard = codes[0] / 32767 * 10 ** (CEILING_DBFS / 20)
    # -12 dBFS is 10^(-12/20) = 0.25119 of full scale
    assert np.abs(heard).max() == pytest.approx(0.25119, abs=1e-5)
    assert (codes[0, 100:201] == 0).all()


def test_what_is_within_full_scale_passes_unchanged_but_for_the_level():
    stereo = np.column_stack((SINE, 0.5 * SINE))
    codes = listening_codes(stereo)
    assert codes.shape == (2, RATE_HZ)
    assert np.abs(codes / 32767 - stereo.T).max() <= 0.5 / 32767


@pytest.mark.parametrize(("before", "after"), [(1.0, 0.25), (0.1, 0.7), (0.3, 0.3)])
def test_matched_versions_have_one_rms_and_neither_is_raised(before, after):
    # Plain numpy beside it: the RMS of both after the gains, by the definition.
    gains = matched_db(
        gl.measure("rms_dbfs", gl.Audio(before * SINE, RATE_HZ)),
        gl.measure("rms_dbfs", gl.Audio(after * SINE, RATE_HZ)),
    )
    heard = [
        np.sqrt(np.mean((amplitude * SINE * 10 ** (gain / 20)) ** 2))
        for amplitude, gain in zip((before, after), gains, strict=True)
    ]
    assert heard[0] == pytest.approx(heard[1], rel=1e-9)
    assert max(gains) == 0.0
    assert min(gains) == pytest.approx(-abs(20 * np.log10(before / after)), abs=1e-9)


def test_silence_is_not_matched_and_the_words_say_what_is_done():
    assert matched_db(-math.inf, -20.0) == (0.0, 0.0)
    assert matched_words(0.0, -2.44, by="loudness") == "after lowered by 2.4 dB (loudness)"
    assert matched_words(0.0, 0.0, by="loudness") == "both at the same level (loudness)"
    assert len(CAUTION) < 80  # one short line
    assert "85 dBA" in CAUTION
    assert "NIOSH 98-126" in CAUTION
    assert "local rules go first" in CAUTION


class Sent(list):
    """What a player sends to the page, in place of the page."""

    def __call__(self, content, buffers=None):
        self.append((content, buffers))


@pytest.fixture
def player(bench):
    made = bench.panel.player
    made.send = Sent()
    return made


def asked(player, **content):
    player._handle_custom_msg(content, None)


def test_nothing_is_sent_until_somebody_listens(bench, player):
    bench.move("preamp/gain_db", 20.0)
    assert player.send == []
    asked(player, kind="want", slot="after")
    ((content, buffers),) = player.send
    assert (content["slot"], content["channels"], content["length"], content["rate_hz"]) == (
        "after",
        1,
        RATE_HZ,
        RATE_HZ,
    )
    codes = np.frombuffer(buffers[0], dtype="<i2")
    # -48 + 20 = -28 dBFS of full scale, and full scale is the largest code
    assert codes.max() / 32767 == pytest.approx(10 ** (-28 / 20), abs=1e-3)


def test_while_it_sounds_the_newest_version_is_sent_and_none_waits_in_line(bench, player):
    asked(player, kind="sounding", now=True)
    bench.move("trim/gain_db", -1.0)
    for gain_db in (-2.0, -3.0, -4.0):
        bench.move("trim/gain_db", gain_db)
    assert len(player.send) == 1  # the first is under way
    asked(player, kind="arrived", slot="after", version=player.send[0][0]["version"])
    assert len(player.send) == 2
    newest = np.frombuffer(player.send[1][1][0], dtype="<i2")
    assert newest.max() / 32767 == pytest.approx(10 ** (-19 / 20), abs=1e-3)  # -48 + 33 - 4 dBFS
    asked(player, kind="arrived", slot="after", version=2)
    assert len(player.send) == 2
    asked(player, kind="sounding", now=False)
    bench.move("trim/gain_db", 0.0)
    assert len(player.send) == 2


def test_before_is_the_setting_at_the_start_and_is_sent_once(bench, player):
    bench.move("preamp/gain_db", 20.0)
    asked(player, kind="want", slot="before")
    asked(player, kind="want", slot="before")
    assert [content["kind"] for content, _ in player.send] == ["samples", "have"]
    assert np.frombuffer(player.send[0][1][0], dtype="<i2").max() / 32767 == pytest.approx(10 ** (-15 / 20), abs=1e-3)
    assert player.gains["before"] == pytest.approx(-13.0, abs=0.01)  # 33 down to 20 dB
    assert player.matched == "before lowered by 13.0 dB (loudness)"
    asked(player, kind="hello")  # the page was loaded again and holds nothing
    asked(player, kind="want", slot="before")
    assert [content["kind"] for content, _ in player.send] == ["samples", "have", "samples"]


def test_what_the_page_may_not_ask_for_is_not_answered(bench, player):
    asked(player, kind="want", slot="../../etc")
    asked(player, kind="unheard of")
    assert player.send == []


def test_the_player_starts_without_samples():
    made = Player("uid", lambda tap: None)
    assert made.ceiling == pytest.approx(0.25119, abs=1e-5)
    assert not any("codes" in name or "samples" in name for name in made.keys)
    close_tree(made)
