"""What holds for every stage: pure, frozen, read-only, mono and stereo, settings that controls can move."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from gainlib.errors import GainError
from gainlib.loops import dynamics
from gainlib.loops import numpy_dynamics as dynamics_twins
from gainlib.stages import (
    ClipGain,
    Compressor,
    Converter,
    Delivery,
    Fader,
    Limiter,
    OutboardInsert,
    Pan,
    Preamp,
    Ride,
    Saturation,
    SoftClip,
    Source,
    Stage,
    StoredFile,
    Trim,
    choices_of,
    settings_of,
)

STAGES = [
    Source(),
    Preamp(),
    Converter(18.0, dither=True, noise_dbfs=-100.0),
    StoredFile("fixed 16", dither=True),
    ClipGain(((0.001, 0.004, 6.0),)),
    Ride(((0.0, -6.0), (0.01, 6.0))),
    Trim(-3.0),
    Compressor(-30.0),
    Saturation(6.0),
    SoftClip(-6.0),
    Limiter(-6.0),
    Fader(-10.0),
    Pan(0.3),
    OutboardInsert(18.0),
    Delivery(),
]
by_kind = pytest.mark.parametrize("stage", STAGES, ids=lambda stage: type(stage).__name__)


def entering(signal_of, stage: Stage, channels: int = 2):
    samples = np.random.default_rng(1).uniform(-0.9, 0.9, (1000, channels))
    return signal_of(samples, noise_power=1e-9, domain=stage.takes)


def test_the_list_above_is_complete() -> None:
    import gainlib.stages as room

    kinds = {each for each in vars(room).values() if isinstance(each, type) and issubclass(each, Stage)} - {Stage}
    assert kinds == {type(each) for each in STAGES}


@by_kind
def test_the_same_in_gives_the_same_out_and_the_input_is_left_alone(signal_of, stage: Stage) -> None:
    signal = entering(signal_of, stage)
    before = signal.samples.copy()
    one, other = stage.process(signal), stage.process(signal)
    assert np.array_equal(one.signal.samples, other.signal.samples)
    assert np.array_equal(signal.samples, before)
    assert one.signal.domain == stage.gives
    assert one.signal.samples.dtype == np.float64
    assert not one.signal.samples.flags.writeable
    assert one.signal.noise_power >= 0.0


@by_kind
def test_a_stage_tells_what_it_says_that_it_tells(signal_of, stage: Stage) -> None:
    passed = stage.process(entering(signal_of, stage))
    assert set(passed.readings) == set(stage.tells)
    silent = dataclasses.replace(entering(signal_of, stage), samples=np.zeros((1000, 1)))
    assert set(stage.process(silent).readings) == set(stage.tells)


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


@by_kind
def test_without_numba_the_same_comes_out(signal_of, stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    signal = entering(signal_of, stage)
    compiled = stage.process(signal).signal.samples
    monkeypatch.setattr(dynamics, "working_dynamics", lambda: dynamics_twins)
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
