"""What holds for every stage: pure, frozen, read-only, mono and stereo, settings that controls can move."""

from __future__ import annotations

import dataclasses
import itertools
import math
import tracemalloc

import numpy as np
import pytest

import gainlib.stages
from gainlib import loops
from gainlib.errors import GainError
from gainlib.flow.needs import RUN_BYTES
from gainlib.loops import numpy_loops
from gainlib.stages import (
    ClipGain,
    Compressor,
    Pan,
    Preamp,
    Ride,
    SoftClip,
    Stage,
    Trim,
    choices_of,
    settings_of,
    stage_kinds,
)

# Settings at which a stage does something; a kind that is not named here is tried as it comes.
AT_WORK = {
    "Cable": {"source_ohm": 600.0},
    "ClipGain": {"regions": ((0.001, 0.004, 6.0),)},
    "Compressor": {"threshold_db": -30.0},
    "Converter": {"alignment": 18.0, "dither": True, "dynamic_range_db": 100.0},
    "Delay": {"delay_samples": 3},
    "Fader": {"gain_db": -10.0},
    "Limiter": {"ceiling_dbfs": -6.0},
    "OutboardInsert": {"alignment": 18.0},
    "Pan": {"position": 0.3},
    "Polarity": {"inverted": True},
    "Preamp": {"pad_db": 10.0},
    "Ride": {"points": ((0.0, -6.0), (0.01, 6.0))},
    "Saturation": {"drive_db": 6.0},
    "SoftClip": {"ceiling_dbfs": -6.0},
    "StoredFile": {"coding": "fixed 16", "dither": True},
    "Trim": {"gain_db": -3.0},
}
STAGES = [kind(**AT_WORK.get(name, {})) for name, kind in stage_kinds().items()]
by_kind = pytest.mark.parametrize("stage", STAGES, ids=lambda stage: type(stage).__name__)


def entering(signal_of, stage: Stage, channels: int = 2):
    samples = np.random.default_rng(1).uniform(-0.9, 0.9, (1000, channels))
    return signal_of(samples, noise_power=1e-9, domain=stage.input_domain)


@by_kind
@pytest.mark.parametrize("channels", [1, 2])
def test_a_stage_takes_no_more_memory_than_it_declares(signal_of, stage: Stage, channels: int) -> None:
    samples = 3.0 * np.random.default_rng(1).uniform(-1, 1, (300_000, channels))  # clips wherever it can
    signal = signal_of(samples, domain=stage.input_domain)
    stage.process(signal)  # what it opens and compiles
    tracemalloc.start()
    passed = stage.process(signal)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    count = stage.channels_behind(channels)
    assert passed.signal.samples.shape[1] == count
    runs = 24 * len(passed.clipped) if passed.clipped else 0
    blocks = 10_000_000  # what is worked on at a time by those that go in stretches, however long the signal
    assert peak - runs <= stage.copies * 8 * len(samples) * count + blocks
    assert runs <= RUN_BYTES * len(samples) * count


def test_every_stage_of_the_room_is_known_by_its_name() -> None:
    in_the_room = {
        name for name, each in vars(gainlib.stages).items() if isinstance(each, type) and issubclass(each, Stage)
    }
    assert set(stage_kinds()) == in_the_room - {"Stage"}
    assert len(STAGES) >= 15


def test_a_name_stands_for_one_stage_and_a_cell_may_define_its_own_again(kinds: None) -> None:
    def define(module: str) -> type[Stage]:
        return type("Tilt", (Stage,), {"__module__": module})

    first, again = define("mine"), define("mine")
    assert stage_kinds()["Tilt"] is again is not first
    with pytest.raises(GainError, match="a stage Tilt is there already, in mine; choose another name"):
        define("yours")


def test_a_kind_is_the_class_name_unless_it_says_otherwise(kinds: None) -> None:
    class Shelf(SoftClip):
        pass

    assert (SoftClip.kind, Shelf.kind, SoftClip().name) == ("Soft clip", "Shelf", "soft clip")


@by_kind
def test_a_stage_has_the_curve_and_the_trace_that_it_declares(signal_of, stage: Stage) -> None:
    passed = stage.process(entering(signal_of, stage))
    assert (passed.reduction_db is not None) == stage.traced
    if stage.bends:
        low, high = np.asarray(stage.curve_db([-60.0, 0.0]))
        assert high - low < 60.0  # the tops come up less than the quiet parts
    else:
        assert stage.corner is None
        with pytest.raises(GainError, match="has no static curve"):
            stage.curve_db(-6.0)


@by_kind
def test_a_plain_gain_is_the_whole_of_what_a_stage_does_to_a_quiet_signal(signal_of, stage: Stage) -> None:
    if stage.plain_gain_db is None or stage.input_domain != stage.output_domain:
        return
    quiet = entering(signal_of, stage)
    quiet = dataclasses.replace(quiet, samples=quiet.samples * 0.01)
    out = stage.process(quiet).signal.samples
    gain = np.vdot(quiet.samples, out) / np.vdot(quiet.samples, quiet.samples)
    assert 20 * np.log10(abs(gain)) == pytest.approx(stage.plain_gain_db, abs=0.05)
    assert np.abs(out - gain * quiet.samples).max() < 0.01 * np.abs(out).max()


@by_kind
def test_the_same_in_gives_the_same_out_and_the_input_is_left_alone(signal_of, stage: Stage) -> None:
    signal = entering(signal_of, stage)
    before = signal.samples.copy()
    one, other = stage.process(signal), stage.process(signal)
    assert np.array_equal(one.signal.samples, other.signal.samples)
    assert np.array_equal(signal.samples, before)
    assert one.signal.domain == stage.output_domain
    assert one.signal.samples.dtype == np.float64
    assert not one.signal.samples.flags.writeable
    assert one.signal.noise_power >= 0.0


@by_kind
def test_a_stage_gives_the_readings_that_it_names(signal_of, stage: Stage) -> None:
    passed = stage.process(entering(signal_of, stage))
    assert set(passed.readings) == set(stage.reading_names)
    silent = dataclasses.replace(entering(signal_of, stage), samples=np.zeros((1000, 1)))
    assert set(stage.process(silent).readings) == set(stage.reading_names)


@by_kind
@pytest.mark.parametrize("channels", [1, 2])
def test_mono_and_stereo_keep_their_length(signal_of, stage: Stage, channels: int) -> None:
    out = stage.process(entering(signal_of, stage, channels)).signal.samples
    assert out.shape == (1000, 2 if isinstance(stage, Pan) else channels)
    assert np.isfinite(out).all()


@by_kind
def test_nothing_passes_a_stages_ceiling(signal_of, stage: Stage) -> None:
    loud = entering(signal_of, stage)
    loud = dataclasses.replace(loud, samples=loud.samples * 100)
    out = stage.process(loud).signal.samples
    # A step of the last word length, for a ceiling in front of the rounding.
    assert np.abs(out).max() <= stage.ceiling + 2.0**-22


@by_kind
def test_every_control_reaches_its_ends(signal_of, stage: Stage) -> None:
    signal = entering(signal_of, stage)
    for name, each in settings_of(stage).items():
        assert each.label
        assert each.low < each.high
        assert each.step > 0
        for value in (each.low, (each.low + each.high) / 2, each.high):
            out = dataclasses.replace(stage, **{name: value}).process(signal).signal.samples
            assert np.isfinite(out).all()
    for name, choice in choices_of(stage).items():
        for value in choice.options:
            assert getattr(dataclasses.replace(stage, **{name: value}), name) == value


@by_kind
def test_a_number_that_is_none_is_refused_by_name(stage: Stage) -> None:
    for name in settings_of(stage):
        for value in (float("nan"), "loud", True, None):
            with pytest.raises(GainError, match=rf"^{name} of the .* is .*; .*\.$"):
                dataclasses.replace(stage, **{name: value})


HOSTILE = [10**400, 10**5000, -(10**400), 2**64, math.nan, math.inf, "x" * 5000, b"x", 1j, None, object(), [], {}, 0.5]


def test_whatever_a_setting_is_given_it_is_taken_or_refused_in_one_sentence() -> None:
    """Seeds that are no integers among them, and numbers that no floating point holds."""
    odd = []
    for kind, field, value in itertools.product(stage_kinds().values(), range(30), HOSTILE):
        names = [each.name for each in dataclasses.fields(kind)][field : field + 1]
        try:
            kind(**dict.fromkeys(names, value))
        except (GainError, TypeError) as fault:
            lacks = isinstance(fault, TypeError) and "required positional" in str(fault)  # another setting
            if not lacks and not (isinstance(fault, GainError) and len(str(fault)) < 300):
                odd.append((kind, names, str(fault)))
        except Exception as fault:
            odd.append((kind, names, str(fault)))
    assert odd == []


@pytest.mark.parametrize("seed", [0.5, math.inf, -1, True])
def test_nothing_is_drawn_from_a_seed_that_is_no_whole_number(seed: object) -> None:
    with pytest.raises(GainError, match="noise_seed of the preamp is .*; (give a whole number|it must be 0 or above)"):
        Preamp(noise_seed=seed)  # type: ignore[arg-type]


@by_kind
def test_without_numba_the_same_comes_out(signal_of, stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    signal = entering(signal_of, stage)
    compiled = stage.process(signal).signal.samples
    monkeypatch.setattr(loops, "backend", lambda: numpy_loops)
    np.testing.assert_allclose(stage.process(signal).signal.samples, compiled, atol=1e-9)


def test_a_gain_that_no_number_survives_is_refused() -> None:
    for make in (
        lambda: Trim(7000.0),
        lambda: Preamp(gain_db=1e6),
        lambda: Compressor(makeup_db=400.0),
        lambda: Ride(((0.0, 300.0),)),
        lambda: ClipGain(((0.0, 1.0, -300.0),)),
    ):
        with pytest.raises(GainError, match="it must be from -200 to 200 dB"):
            make()


@by_kind
def test_a_stage_is_frozen_and_equal_to_its_copy(stage: Stage) -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        stage.name = "other"  # type: ignore[misc]
    assert dataclasses.replace(stage) == stage
    assert dataclasses.replace(stage, name="other").name == "other"
    with pytest.raises(GainError, match="leave out the slash"):
        dataclasses.replace(stage, name="a/b")
