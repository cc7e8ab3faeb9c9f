"""The kernel's half of a measured chain: what is sent for each choice, and what is said of what comes back."""

from __future__ import annotations

import numpy as np
import pytest

import gainlib as gl
from gainlib.widgets.listening import CEILING_DBFS


@pytest.fixture
def chain(tmp_path, monkeypatch):
    """A chain to be measured, with what it sends to the page in `sent`."""
    monkeypatch.chdir(tmp_path)
    made = gl.measure_chain()
    made.sent = []
    monkeypatch.setattr(made, "send", lambda content, buffers=None: made.sent.append((content, buffers)))
    return made


def signal_of(chain, level, rate_hz=48_000):
    chain._handle_custom_msg({"kind": "signal", "rate_hz": rate_hz, "level": level}, [])
    content, buffers = chain.sent[-1]
    return content, None if buffers is None else np.frombuffer(buffers[0], dtype="<f4")


def come_back(chain, samples, **told):
    head = {"kind": "piece", "index": 0, "of": 1, "channels": 1, "rate_hz": 48_000, "lost": 0, "began": 100, **told}
    chain._handle_custom_msg(head, [memoryview(np.asarray(samples, dtype="<f4").tobytes())])
    return chain


def test_nothing_that_can_be_chosen_is_above_the_listening_ceiling_and_the_first_is_far_below(chain):
    peaks = [20.0 * np.log10(np.abs(signal_of(chain, each)[1]).max()) for each in chain.levels]
    assert peaks[0] == pytest.approx(-40.0, abs=0.1)
    assert max(peaks) <= CEILING_DBFS + 1e-4
    assert chain.ceiling == pytest.approx(10.0 ** (CEILING_DBFS / 20.0))


def test_what_comes_back_is_read_and_no_file_is_made(chain, tmp_path):
    _, signal = signal_of(chain, chain.levels[1])
    come_back(chain, np.concatenate([np.zeros(100 + 480), -0.5 * signal, np.zeros(48_000)]))
    assert chain.reading.gain_db == pytest.approx(-6.02, abs=0.01)
    assert chain.reading.delay_ms == pytest.approx(10.0, abs=0.001)
    assert chain.reading.inverted
    assert "The polarity is turned." in chain.said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"lost": 128}, "Not measured: the computer lost samples meanwhile"),
        ({"began": None}, "Not measured: it was stopped before anything was sent"),
        ({"began": "x"}, "Not measured: "),
        ({"rate_hz": 44_100}, "Not measured: what came back has 44 100 Hz"),
    ],
)
def test_what_went_wrong_is_said_and_no_earlier_reading_stands(chain, told, said):
    _, signal = signal_of(chain, chain.levels[0])
    whole = np.concatenate([np.zeros(100), signal, np.zeros(48_000)])
    assert come_back(chain, whole).reading is not None
    come_back(chain, whole, **told)
    assert chain.reading is None
    assert said in chain.said


@pytest.mark.parametrize(("level", "rate_hz"), [("0 dBFS", 48_000), (None, 48_000), ("−20 dBFS", 8_000)])
def test_what_is_not_offered_is_not_sent(chain, level, rate_hz):
    content, samples = signal_of(chain, level, rate_hz)
    assert content["kind"] == "no signal"
    assert samples is None
