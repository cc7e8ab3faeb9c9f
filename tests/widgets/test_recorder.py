"""The kernel's half of a recording: pieces become a take, the take a file, and what went wrong a sentence."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

import gainlib as gl
from gainlib.errors import GainError
from gainlib.learners.course_folder import MANIFEST, MARK
from gainlib.widgets.as_left import NOTEBOOK
from gainlib.widgets.recorder import Recorder

PLAIN = dict.fromkeys(("echoCancellation", "noiseSuppression", "autoGainControl"), False)


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def hand_over(recorder, samples, frames=1000, **told):
    """Send a take as the page does, so many frames a piece."""
    samples = np.asarray(samples, dtype="<f4")
    parts = [samples[at : at + frames] for at in range(0, len(samples), frames)]
    for index, part in enumerate(parts):
        head = {
            "kind": "piece", "index": index, "of": len(parts), "channels": samples.shape[1], "rate_hz": 48_000,
            "settings": PLAIN, "lost": 0, "why": "", **told,
        }  # fmt: skip
        recorder._handle_custom_msg(head, [memoryview(part.tobytes())])
    return recorder


def noise(seconds=4.0, channels=1, level=0.1):
    return np.random.default_rng(7).uniform(-level, level, (round(48_000 * seconds), channels)).astype(np.float32)


def test_pieces_become_the_take_and_its_file(here):
    samples = noise(channels=2)
    recorder = hand_over(gl.record(), samples, frames=777)
    np.testing.assert_array_equal(recorder.take.samples, samples)
    (path,) = (here / "takes").iterdir()
    np.testing.assert_array_equal(soundfile.read(path, dtype="float32")[0], samples)
    assert (recorder.chosen, recorder.takes, recorder.take.path) == (path.name, [path.name], here / "takes" / path.name)
    assert recorder.said.startswith(f"Kept as {path.name} in takes: 4.0 s at 48 kHz, highest peak −20.0 dBFS, ")


def test_two_channels_that_are_the_same_are_one():
    assert hand_over(gl.record(), np.repeat(noise(), 2, axis=1)).take.channels == 1
    assert hand_over(gl.record(), noise(channels=2)).take.channels == 2


def test_the_highest_code_of_a_16_bit_converter_counts_as_clipped():
    samples = noise()
    samples[100:103, 0] = 32767 / 32768, -1.0, 32766 / 32768
    assert "2 samples clipped" in hand_over(gl.record(), samples).said


def test_what_is_said_of_the_room_is_its_rms_by_aes17():
    samples = noise()
    samples[: 3 * 48_000] = 0.001  # a steady value of −60 dBFS; the AES17 zero adds 3.01 dB
    assert "The room, in the first 3 s: −57.0 dBFS RMS (AES17)." in hand_over(gl.record(), samples).said


@pytest.mark.parametrize(
    ("samples", "told", "said"),
    [
        (noise(), {"settings": {**PLAIN, "echoCancellation": True}}, "The browser works on the sound (echo cancell"),
        (noise(), {"settings": {}}, "does not say whether it works on the sound (echo cancellation, noise supp"),
        (noise(), {"rate_hz": 44_100}, "The device gives 44.1 kHz, and the take was left at that."),
        (noise(), {"lost": 128}, "128 samples went missing, since the computer was busy: record again."),
        (0 * noise(), {}, "Nothing but silence arrived"),
        (noise() * (np.arange(192_000) > 144_000)[:, None], {}, "The room's noise is digital silence"),
        (np.hstack([noise(), 0.001 * noise(level=0.2)]), {}, "Channel 1 alone carries it"),
        (noise(), {"why": "The microphone went away; what came until then is kept."}, "went away; what came until"),
    ],
)
def test_what_a_learner_should_know_is_said(samples, told, said):
    assert said in hand_over(gl.record(), samples, **told).said


def test_a_take_that_cannot_be_written_is_there_and_can_be_kept_later(here):
    (here / "takes").write_text("")  # where the folder should be
    recorder = hand_over(gl.record(), noise())
    assert recorder.take.seconds == 4.0
    assert recorder.unkept
    assert "takes cannot be made (file exists)" in recorder.said
    (here / "takes").unlink()
    recorder._handle_custom_msg({"kind": "keep"}, [])
    assert not recorder.unkept
    assert recorder.takes == [recorder.chosen]


def test_an_earlier_take_is_taken_up_and_left_again(here):
    first = hand_over(gl.record(), noise()).chosen
    recorder = Recorder()
    assert recorder.take is None
    recorder._handle_custom_msg({"kind": "choose", "name": first}, [])
    np.testing.assert_array_equal(recorder.take.samples, noise())
    recorder._handle_custom_msg({"kind": "choose", "name": "../secret.wav"}, [])
    assert recorder.chosen == first
    recorder._handle_custom_msg({"kind": "choose", "name": ""}, [])
    assert recorder.take is None


@pytest.mark.parametrize("told", [{"channels": 7}, {"channels": 0}, {"rate_hz": 0}, {"rate_hz": "48000"}])
def test_what_is_no_take_is_refused_in_a_sentence_and_nothing_is_written(here, told):
    recorder = hand_over(gl.record(), noise(), **told)
    assert recorder.said.startswith("Not taken: what the page sent is no take")
    assert recorder.take is None
    assert not (here / "takes").exists()


@pytest.mark.parametrize("seconds", [3.0, 600.5, -1.0])
def test_a_length_beyond_the_bounds_is_refused(seconds):
    with pytest.raises(GainError, match=r"longest_seconds is .*; a take has 3 s of the room first and lasts at most"):
        gl.record(seconds)


def test_in_a_learners_folder_the_take_that_was_chosen_is_there_again_after_a_restart(here, monkeypatch):
    (here / MARK).mkdir()
    (here / MARK / MANIFEST).write_text("{}")
    (here / "03-lesson.ipynb").write_text("{}")
    monkeypatch.setenv(NOTEBOOK, str(here / "03-lesson.ipynb"))
    first = hand_over(gl.record(), noise())
    again = gl.record()
    assert again.chosen == first.chosen
    np.testing.assert_array_equal(again.take.samples, noise())
    again._handle_custom_msg({"kind": "choose", "name": ""}, [])
    assert gl.record().take is None
    # A take that is gone meanwhile is none, and stops nothing.
    hand_over(gl.record(), noise())
    for each in (here / "takes").iterdir():
        each.unlink()
    assert gl.record().take is None


def test_a_long_take_is_kept_bit_exact_and_is_then_not_held(here):
    samples = noise(70.0, channels=2)
    recorder = hand_over(gl.record(600.0), samples, frames=1 << 16)
    (path,) = (here / "takes").iterdir()
    assert np.array_equal(soundfile.read(path, dtype="float32")[0], samples)
    assert recorder.take.on_disk
    assert recorder.said.startswith(f"Kept as {path.name} in takes: 70.0 s at 48 kHz, highest peak −20.0 dBFS, no sam")
