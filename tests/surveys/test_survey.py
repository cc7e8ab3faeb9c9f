"""A folder surveyed: faults found where they were planted, trims, the sum, names, what cannot be read, Ctrl-C."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading

import numpy as np
import pytest
import soundfile

import gainlib as gl
from gainlib import surveys
from gainlib.surveys import Practice, Tempo
from gainlib.surveys.cross_checks import find_related
from gainlib.surveys.folder import find_files
from gainlib.surveys.stem import measure_stem
from gainlib.surveys.survey import survey


def kinds(made, name):
    return {each.kind for each in made.faults_of(name)}


def test_every_planted_fault_is_found_and_no_other(planted, surveyed):
    assert {name: kinds(surveyed, name) for name in planted[1]} == planted[1]
    assert not surveyed.sound
    assert surveyed.unreadable == ()


def test_the_worst_comes_first(surveyed):
    names = [each.name for each in surveyed.stems]
    assert names[:3] == ["guitar", "keys", "room"]
    assert names[-3:] == ["bass", "drum-top", "synth"]  # a remark is no fault
    assert [each.stem for each in surveyed.trims] == names


def test_a_place_is_told_to_the_sample_and_the_beat(planted, surveyed):
    samples = soundfile.read(planted[0] / "guitar.wav")[0]
    first = next(each for each in surveyed.faults_of("guitar") if each.kind == "clipped").places[0]
    assert np.abs(samples[first.sample : first.sample + first.length]).min() >= 1 - 2**-15
    assert abs(samples[first.sample - 1]) < 1 - 2**-15
    assert (first.seconds, first.channel, first.bar) == (first.sample / 48_000, 1, "1:1")


@pytest.mark.parametrize(
    ("tempo", "seconds", "place"),
    # 120 beats a minute: a beat each half second; three beats a bar at 90: a bar each two seconds.
    [(Tempo(120), 0.0, "1:1"), (Tempo(120), 1.999, "1:4"), (Tempo(120), 2.0, "2:1"), (Tempo(90, 3), 2.0, "2:1"),
     (Tempo(90, 3), 3.4, "2:3")],
)  # fmt: skip
def test_bars_and_beats(tempo, seconds, place):
    assert tempo.place(seconds) == place


def test_trims_reach_the_target_or_the_ceiling(surveyed):
    for trim in surveyed.trims:
        if trim.held == "":
            assert trim.after == pytest.approx(-18.0, abs=0.05)
            assert trim.true_peak_dbtp <= -6.0
        elif trim.held == "peaks":
            assert -6.1 - 1e-9 <= trim.true_peak_dbtp <= -6.0
        else:
            assert (trim.stem, trim.gain_db) == ("room", 0.0)


def test_a_trim_is_held_back_by_peaks(tmp_path, making):
    take = 0.001 * making.tone(2.0, 1.0)
    take[48_000] = 0.25  # -12.04 dBFS: +6.0 dB and no more, though -18 dBFS asks for 42
    made = survey(making.save(tmp_path / "tick.wav", take))
    assert (made.trim("tick").gain_db, made.trim("tick").held) == (6.0, "peaks")


@pytest.mark.parametrize(
    ("measure", "target", "gain_db"),
    # A sine of amplitude 0.25: peak -12.04 dBFS, AES17 RMS the same; 997 Hz in one channel -3.01 LUFS below its peak.
    [
        ("peak_dbfs", None, 2.0),
        ("rms_dbfs", -20.0, -8.0),
        ("loudness_lufs", -23.0, -7.95),
        ("true_peak_dbtp", -12.0, 0.0),
    ],
)
def test_another_measure_and_target(tmp_path, making, measure, target, gain_db):
    made = survey(making.save(tmp_path / "tone.wav", making.tone(4.0, 0.25, 997.0)), practice=Practice(measure, target))
    assert made.trim("tone").gain_db == pytest.approx(gain_db, abs=0.051)


def test_the_sum_is_that_of_a_session(planted, surveyed):
    from gainlib import Session, Strip, Trim
    from gainlib.flow import Bus

    strips = [
        Strip(each.name, gl.read(each.path), (Trim(surveyed.trim(each.name).gain_db),)) for each in surveyed.stems
    ]
    rendering = Session(tuple(strips), (), Bus("main")).render()
    mixed = rendering.at("main/sum")
    for name in ("peak_dbfs", "true_peak_dbtp", "rms_dbfs", "loudness_lufs"):
        # The sum is read in single precision: 2^-24 of full scale is far below a thousandth of a decibel here.
        assert surveyed.sum.after[name] == pytest.approx(gl.measure(name, mixed), abs=1e-3), name
    assert set(surveyed.sum.stems) == {each.name for each in surveyed.stems} - {"room"}
    assert surveyed.sum.delivered("true_peak_dbtp") == pytest.approx(-6.05, abs=0.051)
    assert surveyed.sum.main_trim_db < 0


def test_equal_tones_add_to_twice_one(tmp_path, making):
    # The same signal twice is +6.02 dB; a mono stem goes to both sides of a stereo one.
    one = making.tone(2.0, 0.1, 997.0)
    making.save(tmp_path / "a.wav", one)
    making.save(tmp_path / "b.wav", np.repeat(one, 2, axis=1))
    total = survey(tmp_path).sum
    assert total.channels == 2
    assert total.before["peak_dbfs"] == pytest.approx(-20 + 6.0206, abs=0.01)
    assert total.after["peak_dbfs"] == pytest.approx(-18 + 6.0206, abs=0.1)
    assert total.main_trim_db == 0.0


def test_what_cannot_be_added_is_left_out_with_a_reason(tmp_path, making):
    making.save(tmp_path / "a.wav", making.noise(1, 2.0, channels=2))
    making.save(tmp_path / "b.wav", making.noise(2, 2.0, channels=2))
    making.save(tmp_path / "six.wav", making.noise(3, 2.0, channels=6))
    making.save(tmp_path / "slow.wav", making.noise(4, 2.0, rate_hz=44_100), rate_hz=44_100)
    made = survey(tmp_path)
    left_out = dict(made.sum.left_out)
    assert set(left_out) == {"six", "slow"}
    assert "6 channels" in left_out["six"]
    assert "44 100 Hz" in left_out["slow"]
    assert kinds(made, "slow") == {"rate"}


def test_trims_of_ones_own(surveyed):
    moved = surveyed.with_trims({"bass": -20.0, "whisper": 0.0})
    assert moved.trim("bass").peak_dbfs == pytest.approx(-12.0412 - 20.0, abs=0.01)
    assert moved.sum.after["true_peak_dbtp"] < surveyed.sum.after["true_peak_dbtp"]
    assert "noise" not in kinds(moved, "whisper")  # it is the trim that lifts it
    assert moved.trim("voice") == surveyed.trim("voice")
    assert surveyed.with_trims({"bass": -20.0}, add_up=False).sum is None
    with pytest.raises(gl.GainError, match="there is no stem 'bas'; did you mean bass"):
        surveyed.with_trims({"bas": 0.0})
    with pytest.raises(gl.GainError, match="the trim of bass is nan; give decibels"):
        surveyed.with_trims({"bass": float("nan")})


def test_thresholds_work_on_the_share_of_time_above_them(tmp_path, making):
    # A second at -10 dBFS and a second at -30: a threshold of -20 works half the time; 15 dB lower it never does.
    take = np.concatenate((making.tone(1.0, 10 ** (-10 / 20)), making.tone(1.0, 10 ** (-30 / 20))))
    path = making.save(tmp_path / "steps.wav", take)
    made = survey(path).with_trims({"steps": -15.0})
    assert made.trim("steps").works_before == pytest.approx(0.5, abs=0.03)
    assert made.trim("steps").works_after == 0.0
    assert survey(path).with_trims({"steps": 15.0}).trim("steps").works_after == pytest.approx(1.0)


def test_polarity_is_found_against_a_late_neighbour_and_not_between_strangers(tmp_path, making):
    one = making.noise(1, 3.0)
    late = -np.concatenate((np.zeros((144, 1)), one[:-144]))  # 3 ms later, as a metre of air is
    stems = [
        measure_stem(making.save(tmp_path / f"{name}.wav", samples), name)
        for name, samples in (("a", one), ("b", late), ("c", making.noise(2, 3.0)), ("d", one * 0.1))
    ]
    found_pairs = {(each.one, each.other): each for each in find_related(stems, -0.5)}
    assert set(found_pairs) == {("a", "b"), ("b", "d"), ("a", "d")}
    assert found_pairs["a", "d"].gain_db == pytest.approx(-20.0, abs=0.01)
    # Words of 24 bits at a tenth of an RMS of 0.05: rounded (2^-23 / sqrt(12)) at best, cut off (/ sqrt(3)) at worst.
    best, worst = (20 * np.log10(2**-23 / part**0.5 / 0.005) for part in (12, 3))
    assert best - 0.5 < found_pairs["a", "d"].null_db < worst + 0.5
    assert found_pairs["a", "b"].correlation < -0.95
    assert found_pairs["a", "b"].later_ms == 3.0


def test_a_start_that_does_not_match(tmp_path, making):
    for name, start in (("a", 48_000), ("b", 48_000), ("c", 72_000)):
        making.with_time_reference(making.save(tmp_path / f"{name}.wav", making.noise(ord(name), 1.0)), start)
    made = survey(tmp_path)
    assert {name: kinds(made, name) for name in "abc"} == {"a": set(), "b": set(), "c": {"start"}}
    assert "starts 0.500 s later than most" in made.faults_of("c")[0].sentence


def test_other_faults_alone(tmp_path, making):
    making.save(tmp_path / "over.wav", making.tone(1.0, 1.5), subtype="FLOAT")
    quarter = np.sin(np.pi / 4 + np.pi / 2 * np.arange(48_000))[:, None]  # samples at 0.707, the curve at 1
    making.save(tmp_path / "between.wav", 1.2 * quarter)
    both = making.noise(1, 1.0)
    making.save(tmp_path / "against.wav", np.hstack((both, -both + 0.01 * making.noise(2, 1.0))))
    making.save(tmp_path / "one-side.wav", np.hstack((both, np.zeros_like(both))))
    made = survey(tmp_path, practice=Practice(opposite_correlation=-0.9))
    assert kinds(made, "over") == {"over"}
    assert kinds(made, "between") == {"true peak"}
    assert kinds(made, "against") == {"opposed channels"}
    assert kinds(made, "one-side") == {"silent channel"}


def test_what_cannot_be_read_is_listed_and_the_others_are_done(tmp_path, making):
    making.save(tmp_path / "good.wav", making.noise(1, 1.0))
    (tmp_path / "text.wav").write_text("Dear diary, today we recorded the verse." * 30)
    (tmp_path / "empty.flac").write_bytes(b"")
    cut = making.save(tmp_path / "cut.flac", making.noise(2, 1.0))
    cut.write_bytes(cut.read_bytes()[: cut.stat().st_size // 2])
    soundfile.write(tmp_path / "nan.wav", np.array([0.0, np.nan]), 48_000, subtype="FLOAT")
    made = survey(tmp_path, tmp_path / "gone.wav")
    assert [each.name for each in made.stems] == ["good"]
    assert [name.rsplit("/", 1)[-1] for name, _ in made.unreadable] == ["gone.wav", "cut", "empty", "nan", "text"]
    assert all(sentence.endswith(".") and "\n" not in sentence for _, sentence in made.unreadable)
    assert not made.sound


def test_which_files_are_meant(tmp_path, making):
    for name in ("take 10.wav", "take 2.wav", "b/take 2.flac", ".hidden.wav", "notes.txt"):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        making.save(path, making.tone(0.1, 0.5)) if path.suffix != ".txt" else path.write_text("x")
    here = find_files([tmp_path])
    assert [name for _, name in here.files] == ["take 2", "take 10"]
    assert "(b)" in here.notes[0]
    assert "were not looked into" in here.notes[0]
    everywhere = find_files([str(tmp_path / "**" / "*.*"), tmp_path / "take 2.wav"])
    assert sorted(name for _, name in everywhere.files) == ["take 10.wav", "take 2.flac", "take 2.wav"]
    assert find_files([tmp_path / "nothing*.wav"]).missing[0][1].endswith("check the name and the folder you are in.")
    assert "holds no sound files" in find_files([tmp_path / "b" / ".." / "b", tmp_path.parent]).missing[0][1]


@pytest.mark.parametrize("name", ["ドラム", "голос", "צליל", "a'b\"c", "=1+1", "x" * 200, "<b>&", "50% off; rm -rf"])
def test_names_in_any_script(tmp_path, making, name):
    path = making.save(tmp_path / f"{name}.wav", making.noise(1, 0.5))
    made = survey(path)
    assert made.stems[0].name == name
    assert survey(str(path)).stems[0].name == name


@pytest.mark.skipif(os.name == "nt", reason="such names cannot be there")
def test_names_that_are_no_text(tmp_path, making):
    good = making.save(tmp_path / "a.wav", making.noise(1, 0.5))
    for raw in (b"\xff\xfe.wav", b"two\nlines\x1b[2J.wav"):
        os.link(good, os.path.join(os.fsencode(tmp_path), raw))
    made = survey(tmp_path)
    assert sorted(each.name for each in made.stems) == [r"\udcff\udcfe", "a", r"two\nlines\x1b[2J"]
    for text in ("\n".join(surveys.lines(made)), surveys.as_json(made), surveys.as_csv(made)):
        assert "\x1b" not in text
        text.encode("utf-8")


@pytest.fixture
def ctrl_c():
    """Press Ctrl-C from any thread, and come back when the main thread has heard it."""
    heard = threading.Event()

    def hear(*_):
        heard.set()
        raise KeyboardInterrupt

    def press():
        signal.raise_signal(signal.SIGINT)
        # The main thread runs the handler as soon as it runs at all; it is the main thread itself that adds up.
        if threading.current_thread() is not threading.main_thread():
            heard.wait()

    before = signal.signal(signal.SIGINT, hear)
    yield press
    signal.signal(signal.SIGINT, before)


PAIRS = "holding the stems against each other"


@pytest.mark.parametrize(
    ("during", "finished"), [("b", {"a"}), ("adding up", {"a", "b", "c"}), (PAIRS, {"a", "b", "c"})]
)
def test_ctrl_c_leaves_what_was_finished(tmp_path, making, ctrl_c, during, finished):
    # One worker takes the longest first: a, then b. Stems of 2 s and more are held against each other.
    for name, seconds in (("a", 3.0), ("b", 2.0), ("c", 1.0)):
        making.save(tmp_path / f"{name}.wav", making.noise(ord(name), seconds))
    pressed = []

    def press_once(share, doing):
        if doing == during and not pressed:
            pressed.append(share)
            ctrl_c()

    made = survey(tmp_path, progress=press_once, workers=1)
    assert len(pressed) == 1
    # What was measured when the key was pressed may end at its next block or come to its end.
    assert finished <= {stem.name for stem in made.stems} <= finished | {during}
    assert made.sum is None
    assert not made.whole
    assert not made.sound
    assert "ended before its end" in "\n".join(surveys.lines(made))


def test_progress_rises_to_its_end(planted):
    told = []
    survey(planted[0], progress=lambda share, doing: told.append((share, doing)), workers=1)
    shares = [share for share, _ in told]
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)
    assert {"bass", "adding up", PAIRS} <= {doing for _, doing in told}


@pytest.mark.parametrize(
    ("given", "options", "sentence"),
    [
        ((), {}, "no stems were named; give files, folders or patterns"),
        (("x.wav",), {"workers": 0}, "workers is 0; give a whole number from 1 to 64"),
        (("x.wav",), {"tempo": 0}, "the tempo is 0; give beats a minute, from 1 to 1000"),
    ],
)
def test_what_cannot_be_is_refused(given, options, sentence):
    with pytest.raises(gl.GainError, match=sentence):
        survey(*given, **options)


@pytest.mark.parametrize(
    ("settings", "sentence"),
    [
        ({"measure": "peak"}, "measure is 'peak'; did you mean"),
        ({"target": float("nan")}, "target is nan; it must be a finite number"),
        ({"noise_limit_dbfs": -400}, "noise_limit_dbfs is -400; it must be a level from -120 to 20"),
        ({"opposite_correlation": 0.5}, "opposite_correlation is 0.5; it must be from -1 to below 0"),
        ({"imbalance_db": 0}, "imbalance_db is 0; it must be above 0 dB"),
    ],
)
def test_a_practice_that_cannot_be_is_refused(settings, sentence):
    with pytest.raises(gl.GainError, match=sentence):
        Practice(**settings)


def test_it_works_without_numba_and_opens_no_widgets(tmp_path, making):
    making.save(tmp_path / "a.wav", making.noise(1, 1.0))
    code = (
        "import sys; sys.modules['numba'] = None\n"
        "from gainlib.surveys.survey import survey\n"
        f"made = survey({str(tmp_path)!r})\n"
        "print(made.sound, [each for each in ('bokeh', 'ipywidgets', 'IPython') if each in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "True []"


def test_a_pattern_is_headed_by_the_folder_that_it_begins_in(making, tmp_path):
    making.save(tmp_path / "night" / "drums" / "kick.wav", making.noise(1, 0.5))
    for pattern in ("night/**/*.wav", "night/drums/*.wav", "night/d*/kick.wav"):
        assert survey(str(tmp_path / pattern)).title == ("drums" if "drums" in pattern else "night")
