"""The levels of each moment that a level diagram's marks move by."""

import numpy as np

import gainlib as gl
from gainlib.views import LevelDiagram

RATE_HZ = 48_000


def staircase():
    """A tone of 1 kHz, each quarter of a second 6 dB softer: peaks of 0.5, 0.25, 0.125."""
    tone = np.sin(2 * np.pi * np.arange(12_000) / 48)
    return gl.Audio(np.concatenate([0.5 * tone, 0.25 * tone, 0.125 * tone]), RATE_HZ)


def asked(picture, slot="after", **content):
    sent = []
    picture.send = lambda content, buffers=None: sent.append((content, buffers))
    picture._handle_custom_msg({"kind": "tracks", "slot": slot, **content}, None)
    ((said, buffers),) = sent
    return said, [said["floor"] + said["step"] * np.frombuffer(each, np.uint8) for each in buffers]


def test_each_stage_has_the_peak_and_the_rms_of_every_ten_milliseconds():
    session = gl.Session.of(staircase(), [gl.Trim(), gl.Fader()], name="tone")
    bench = gl.bench(session, controls=["trim/gain_db", "fader/gain_db"])
    (picture,) = bench.panel.pictures
    assert picture.living
    said, tracks = asked(picture, start=0.0, turn=7)
    assert (said["turn"], said["moment"], len(tracks)) == (7, 0.01, 4)
    # 20 log10 of 0.5, 0.25 and 0.125; the RMS of a sine reads as its peak (AES17), within half a step.
    steps = np.repeat([-6.02, -12.04, -18.06], 25)
    for track in tracks:
        assert np.abs(track - steps).max() <= 0.26
    # A move is followed, by the stages behind it alone.
    bench.move("fader/gain_db", -10.0)
    _, moved = asked(picture, start=0.0, turn=8)
    assert [round(float(np.mean(new - old))) for new, old in zip(moved, tracks, strict=True)] == [0, 0, -10, -10]
    # What was before stays as it was.
    said, before = asked(picture, slot="before", start=0.0, turn=8)
    assert said["slot"] == "before"
    assert all((now == then).all() for now, then in zip(before, tracks, strict=True))
    # From a later second on.
    _, later = asked(picture, start=0.5, turn=9)
    assert len(later[0]) == 25
    assert np.abs(later[0] + 18.06).max() <= 0.26
    bench.close()


def test_silence_stands_at_the_floor_and_what_did_not_change_is_measured_once(monkeypatch):
    import gainlib.benches.level_tracks as room

    read = []
    whole = room.momentary_levels
    monkeypatch.setattr(room, "momentary_levels", lambda *given: read.append(1) or whole(*given))
    silent = gl.Session.of(gl.Audio(np.zeros((4_800, 2)), RATE_HZ), [gl.Trim(), gl.Fader()], name="silence")
    bench = gl.bench(silent, controls=["fader/gain_db"], views=[LevelDiagram(), "waveform"])
    diagram, waveform = bench.panel.pictures
    assert (diagram.living, waveform.living) == (True, False)
    _, tracks = asked(diagram, start=0.0, turn=1)
    assert all((track == -100.0).all() for track in tracks)
    assert len(read) == 2
    asked(diagram, start=0.0, turn=2)
    assert len(read) == 2
    bench.close()
