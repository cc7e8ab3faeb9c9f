"""The curve between the samples in the close-up."""

from __future__ import annotations

import numpy as np
import pytest

from gainlib import Audio, CloseUp, Session, Trim

# (samples of one wave, how far the wave's top stands over its highest sample in dB)
# published: ITU-R BS.1770-5, Annex 2, gives 3 dB for a quarter of the rate; a sixth: derived, 20 log10 of cos 30°.
CASES = [
    ([0.5, 0.5, -0.5, -0.5], 3.01),
    ([0.5, 1.0, 0.5, -0.5, -1.0, -0.5], 0.0),
    ([0.0, 0.5, 0.5, 0.0, -0.5, -0.5], 1.25),
]


def rendered(wave, rate_hz=8000):
    samples = np.tile(np.asarray(wave), 1000)
    return Session.of(Audio(samples, rate_hz, "tone"), [Trim()]).render()


@pytest.mark.parametrize(("wave", "over_db"), CASES)
def test_the_curve_goes_as_far_over_the_samples_as_it_must(wave, over_db):
    rendering = rendered(np.asarray(wave) * 0.5)
    columns = CloseUp(curve=True).columns(rendering)
    ms, curve = columns["curve"]["ms"], np.asarray(columns["curve"]["came"])
    # Away from the abrupt start of the tone.
    top, sample = np.abs(curve[ms > 2]).max(), np.abs(columns["moment"]["came"]).max()
    assert 20 * np.log10(top / sample) == pytest.approx(over_db, abs=0.06)


def test_the_curve_passes_through_every_sample():
    rendering = rendered([0.3, 0.2, -0.4, 0.1, -0.2])
    columns = CloseUp(curve=True).columns(rendering)
    curve, moment = columns["curve"], columns["moment"]
    at = np.interp(moment["ms"], curve["ms"], curve["came"])
    assert at == pytest.approx(np.asarray(moment["came"]), abs=0.002)


def test_its_sentence_tells_both_and_without_a_curve_nothing_changes():
    rendering = rendered([0.7, 0.7, -0.7, -0.7])
    said = CloseUp(curve=True).sentence(rendering)
    assert said.startswith("The highest sample reaches −3.1 dBFS; the curve between the samples reaches")
    assert "curve" not in CloseUp().columns(rendering)
    assert CloseUp(curve=True).figure(rendering) is not None
