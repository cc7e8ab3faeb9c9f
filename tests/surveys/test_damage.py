"""Drop-outs, frozen and repeated blocks, clicks and cuts: found where they were planted, and nothing else is."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from gainlib.stages.delivery import resampled
from gainlib.storage import bundled
from gainlib.surveys.damage import DamageMeter
from gainlib.surveys.drawings import waveform
from gainlib.surveys.stem import block_frames
from gainlib.surveys.survey import survey

RATE_HZ = 48_000
AT = 300_000


@pytest.fixture(scope="module")
def voice():
    return soundfile.read(bundled("media/lead-voice.flac"), dtype="float32", always_2d=True)[0]


def damage(samples, frames=45_600, rate_hz=RATE_HZ):
    meter = DamageMeter(rate_hz, samples.shape[1])
    for start in range(0, len(samples), frames):
        meter.take(np.asarray(samples[start : start + frames], dtype=np.float32))
    return meter.reading()


def loud(samples):
    """A sample in the loudest 50 ms near the middle of the take, halfway up a wave: at its zero nothing is torn.

    256 samples on, where the frozen stretch ends, the wave stands elsewhere, so that it is torn at both ends.
    """
    rows = samples[AT : AT + 48_000, 0].reshape(-1, 2400)
    start = AT + int((rows**2).sum(axis=1).argmax()) * 2400 + 1200
    middle, later = samples[start : start + 1200, 0], samples[start + 256 : start + 1456, 0]
    half = np.abs(middle).max() / 2
    return start + int(np.argmax((np.abs(middle) > half) & (np.abs(later - middle) > half)))


PLANTED = {
    "click": lambda y, at: y.__setitem__((at, 0), 0.9),
    "click of three": lambda y, at: y.__setitem__((slice(at, at + 3), 0), -0.9),
    "drop-out": lambda y, at: y.__setitem__(slice(at, at + 9600), 0.0),
    "drop-out of 64": lambda y, at: y.__setitem__(slice(at, at + 64), 0.0),
    "frozen": lambda y, at: y.__setitem__(slice(at, at + 256), y[at - 1]),
    "repeated": lambda y, at: y.__setitem__(slice(at, at + 512), y[at - 512 : at].copy()),
    "repeated 441": lambda y, at: y.__setitem__(slice(at, at + 441), y[at - 441 : at].copy()),
    "cut": lambda y, at: y.__setitem__(slice(at, None), 0.0),
}


@pytest.mark.parametrize("frames", [block_frames(RATE_HZ), 9_600, 1_000_000])
@pytest.mark.parametrize("name", PLANTED)
def test_what_was_planted_is_found_where_it_is(voice, name, frames):
    planted, at = voice.copy(), loud(voice)
    PLANTED[name](planted, at)
    found = damage(planted, frames)
    assert [each.kind for each in found] == [name.split(" of ")[0].split(" 4")[0]]
    # A value that stood before a block stands still is part of it.
    assert abs(found[0].start - at) <= 2


@pytest.mark.parametrize("frames", [block_frames(RATE_HZ), 9_600, 1_000_000])
def test_a_voice_is_whole(voice, frames):
    assert damage(voice, frames) == []


@pytest.mark.parametrize("silence_ms", [5, 50, 500, 5000])
@pytest.mark.parametrize("fade_ms", [5, 20])
def test_an_edit_with_fades_is_no_drop_out(voice, fade_ms, silence_ms):
    planted, at = voice.copy(), loud(voice)
    fade, gap = fade_ms * 48, silence_ms * 48
    planted[at - fade : at, 0] *= np.linspace(1, 0, fade)
    planted[at : at + gap] = 0.0
    planted[at + gap : at + gap + fade, 0] *= np.linspace(0, 1, fade)
    assert damage(planted) == []


def crossing(samples, at):
    """The first sample from `at` on before which the wave goes through zero."""
    signs = np.sign(samples[at:, 0])
    return at + int(np.flatnonzero(signs[1:] != signs[:-1])[0]) + 1


@pytest.mark.parametrize("length", [64, 512, 4_000])
@pytest.mark.parametrize("ends", ["on a crossing", "anywhere"])
def test_a_drop_out_that_begins_on_a_zero_crossing_is_found(voice, length, ends):
    planted = voice.copy()
    start = crossing(voice, loud(voice))
    stop = crossing(voice, start + length) if ends == "on a crossing" else start + length
    planted[start:stop] = 0.0
    # The nearest samples are small, not zero: no jump tells of it.
    level = np.sqrt((voice[start - 2400 : start] ** 2).mean())
    assert abs(planted[start - 1, 0]) < 0.1 * level
    assert [(each.kind, each.start, each.length) for each in damage(planted)] == [("drop-out", start, stop - start)]


@pytest.mark.parametrize("length", [64, 480, 2_000])
def test_a_wave_that_freezes_and_goes_on_from_there_is_found(voice, length):
    # Up to the freeze and after it nothing is lost: no sample jumps.
    crossed = crossing(voice, loud(voice))
    crest = crossed + int(np.argmax(np.abs(voice[crossed : crossed + 100, 0])))
    for start in (crossed, (crossed + crest) // 2):
        planted = np.concatenate((voice[:start], np.repeat(voice[start : start + 1], length, axis=0), voice[start:]))
        assert [(each.kind, each.start) for each in damage(planted)] == [("frozen", start)]


def test_a_slow_wave_that_freezes_and_goes_on_from_there_is_found():
    # Where it is not as steep as elsewhere: above a quarter of the steepness of the tone that went before.
    time = np.arange(96_000)
    tone = 0.3 * np.sin(2 * np.pi * 100 * time / RATE_HZ) * np.linspace(0.02, 1, 96_000)
    fast = 0.3 * np.sin(2 * np.pi * 500 * time / RATE_HZ) * (time % 12_000 > 9_500)
    take = (tone + fast * (time < 47_000) + fast * (time > 50_000))[:, None]
    start = 48_000 + 30  # its steepest is at 48 000
    planted = np.concatenate((take[:start], np.repeat(take[start : start + 1], 480, axis=0), take[start:]))
    assert [(each.kind, each.start) for each in damage(planted) if each.kind != "cut"] == [("frozen", start)]


@pytest.mark.parametrize("softer", [1.0, 0.3])
def test_a_soft_end_of_a_wave_before_a_gap_that_ends_hard_is_found(softer):
    # The last half wave before the gap is less steep than the waves before, as between the pulses of a voice.
    tone = 0.3 * np.sin(2 * np.pi * 440 * np.arange(96_000) / RATE_HZ)[:, None]
    start = round(220 * 48_000 / 440)
    tone[start - 54 : start] *= softer
    tone[start : start + 4_800 + 27] = 0.0  # on a crest
    tone[:2_400] *= np.linspace(0, 1, 2_400)[:, None]
    assert [(each.kind, each.start) for each in damage(tone)][:1] == [("drop-out", start)]


def test_a_wave_that_stops_on_its_zero_crossing_is_cut(voice):
    planted, start = voice.copy(), crossing(voice, loud(voice))
    planted[start:] = 0.0
    assert [(each.kind, each.start) for each in damage(planted)] == [("cut", start)]
    # Also where little silence is left, and where something comes after more than a pause.
    assert [(each.kind, each.start) for each in damage(planted[: start + 48_000])] == [("cut", start)]
    planted[start + 5 * RATE_HZ :] = voice[start + 5 * RATE_HZ :]
    assert ("cut", start) in [(each.kind, each.start) for each in damage(planted)]


def flat_wave(rate_hz, seconds=1.0):
    """A wave of 125 Hz that lies flat on its zero, neither high nor steep there, for whole periods."""
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    return (0.3 * np.sin(2 * np.pi * 125 * time) ** 5)[:, None]


@pytest.mark.parametrize("rate_hz", [8_000, 48_000])
@pytest.mark.parametrize(("fade_ms", "told"), [(0, True), (5, False), (20, False)])
def test_a_wave_that_lies_flat_where_it_stops_or_begins_is_cut_where_it_is_what_it_was_a_period_before(
    rate_hz, fade_ms, told
):
    wave = flat_wave(rate_hz)
    fade = np.linspace(0.0, 1.0, round(fade_ms / 1000 * rate_hz))[:, None]
    wave[: len(fade)] *= fade
    wave[len(wave) - len(fade) :] *= fade[::-1]
    begun = [(each.kind, each.start) for each in damage(wave, rate_hz=rate_hz)]
    assert begun == ([("cut", 0), ("cut", len(wave))] if told else [])
    stopped = np.concatenate((np.zeros_like(wave), wave, np.zeros_like(wave)))
    found = damage(stopped, rate_hz=rate_hz)
    assert [each.kind for each in found] == (["cut"] if told else [])
    assert all(abs(each.start - 2 * len(wave)) <= rate_hz // 1000 for each in found)


@pytest.mark.parametrize("rate_hz", [8_000, 48_000])
def test_two_equal_hits_close_together_at_the_start_of_a_file_are_no_cut(rate_hz):
    time = np.arange(rate_hz // 80) / rate_hz
    hit = np.sin(2 * np.pi * 900 * time) * np.exp(-(((time - 0.006) / 0.0015) ** 2))
    hits = np.concatenate((np.tile(hit, 2), np.zeros(rate_hz // 4)))[:, None]
    assert damage(0.3 * hits, rate_hz=rate_hz) == []


@pytest.mark.parametrize("over_db", [3.0, 6.0])
def test_a_clipped_bass_below_a_whole_peak_does_not_freeze(making, over_db):
    # Its tops stand still for a millisecond and more, and the wave turns back there.
    tone = making.tone(4.0, 1.0, 55.0)
    bass = 0.45 * np.clip(10 ** (over_db / 20) * tone, -1.0, 1.0)
    crest = slice(round(34 * 48_000 / 55), round(34.5 * 48_000 / 55))  # one half wave
    bass[crest] = 0.7 * tone[crest]
    assert not {each.kind for each in damage(bass)} & {"frozen", "drop-out"}


@pytest.mark.parametrize(("ms", "told"), [(50, True), (20, False)])
def test_a_wave_that_stands_on_its_crest_for_longer_than_half_a_wave_that_one_hears_was_frozen(making, ms, told):
    tone = making.tone(4.0, 0.3, 220.0)
    tone[100] = -0.5  # so that the crest is not the channel's own height
    crest = round(220.25 * 48_000 / 220)
    planted = np.concatenate((tone[:crest], np.repeat(tone[crest : crest + 1], ms * 48, axis=0), tone[crest:]))
    found = [
        (each.kind, abs(each.start - crest) <= 2) for each in damage(planted) if each.kind in ("frozen", "drop-out")
    ]
    assert found == ([("frozen", True)] if told else [])


def test_a_voice_that_is_torn_off_before_a_soft_sound_is_a_drop_out(voice):
    # What comes back is 26 dB softer and fades in.
    planted, at = voice.copy(), loud(voice)
    planted[at : at + 4_800] = 0.0
    planted[at + 4_800 :] = 0.05 * voice[at:-4_800]
    planted[at + 4_800 : at + 5_280, 0] *= np.linspace(0, 1, 480)
    assert [(each.kind, each.start) for each in damage(planted)] == [("drop-out", at)]


@pytest.mark.parametrize("rate_hz", [8_000, 48_000])
@pytest.mark.parametrize(("on_ms", "rest_ms"), [(60, 65), (30, 30), (50, 75)])
def test_a_beat_whose_hits_begin_hard_rests_and_drops_nothing(on_ms, rest_ms, rate_hz):
    # As a drum machine's: each hit decays, is faded out within 2 ms, and the next begins at full level.
    count, rest, fade = (ms * rate_hz // 1000 for ms in (on_ms, rest_ms, 2))
    hit = 0.2 * np.random.default_rng(1).standard_normal((40, count)) * np.exp(-np.arange(count) / (0.015 * rate_hz))
    hit[:, -fade:] *= np.linspace(1, 0, fade)
    beat = np.pad(hit, ((0, 0), (0, rest))).reshape(-1, 1)
    assert not {each.kind for each in damage(beat, 16_000, rate_hz)} - {"cut"}


def test_a_soft_end_before_a_short_gap_that_ends_hard_is_found_where_nothing_rested_before(making):
    # The last 4 ms fade to nothing, as between the pulses of a voice; the wave comes back on its crest.
    tone = making.tone(4.0, 0.3, 440.0)
    start = round(300 * 48_000 / 440)
    tone[start - 192 : start, 0] *= np.linspace(1, 0, 192)
    tone[start : start + 2_400 + 27] = 0.0
    assert [(each.kind, abs(each.start - start) <= 2) for each in damage(tone) if each.kind != "cut"] == [
        ("drop-out", True)
    ]
    tone[start - 14_400 : start - 12_000] = 0.0  # a rest before it, between zero crossings
    assert ("drop-out", start) not in [(each.kind, each.start) for each in damage(tone)]


@pytest.mark.parametrize("held", [24, 48, 64])
def test_what_is_held_for_several_samples_does_not_freeze(voice, held):
    take = np.repeat(voice[: 20 * RATE_HZ : held], held, axis=0)
    assert not {each.kind for each in damage(take)} & {"frozen", "drop-out"}


@pytest.mark.parametrize("wide", [1, 3])
def test_clicks_in_speech_of_8_khz_are_found(wide):
    # As on a telephone; at 40 places where it is loud. One in 20 may be missed.
    talk = soundfile.read(bundled("media/radio-presenter.flac"), always_2d=True)[0]
    speech = resampled(talk, RATE_HZ, 8_000)
    assert not [each for each in damage(speech, 8_000, 8_000) if each.kind == "click"]
    rows = (speech[: len(speech) // 400 * 400, 0].reshape(-1, 400) ** 2).sum(axis=1)
    places = np.sort(np.argsort(rows)[-200::5]) * 400 + np.arange(40) * 9
    found = 0
    for at in places.tolist():
        planted, low = speech.copy(), max(0, at - 8_000)
        planted[at : at + wide, 0] = -0.9 * np.sign(planted[at, 0])
        told = damage(planted[low : at + 8_000], 8_000, 8_000)
        found += any(each.kind == "click" and abs(each.start + low - at) <= 2 for each in told)
    assert found >= 38


@pytest.mark.parametrize("rate_hz", [8_000, 48_000])
@pytest.mark.parametrize("louder_db", [20.0, -20.0])
def test_a_click_just_before_or_after_a_plosive_is_found_and_the_plosive_is_none(rate_hz, louder_db):
    # Noise without its treble, whose level steps in the middle; the click lies 8 ms away on the soft side.
    noise = np.convolve(np.random.default_rng(3).standard_normal(2 * rate_hz + 8), np.hanning(9), "valid")
    gain = np.where(np.arange(2 * rate_hz) < rate_hz, 0.002, 0.002 * 10 ** (louder_db / 20))
    speech = (noise * gain * (1.0 if louder_db < 0.0 else 0.1))[:, None]
    assert not [each for each in damage(speech, 16_000, rate_hz) if each.kind == "click"]
    at = rate_hz - round(np.sign(louder_db) * 0.008 * rate_hz)
    speech[at] = 0.4
    found = [each for each in damage(speech, 16_000, rate_hz) if each.kind == "click"]
    assert [(each.start, each.length) for each in found] == [(at, 1)]


@pytest.mark.parametrize("fade_ms", [0, 1, 2])
def test_tones_with_rests_between_zero_crossings_are_whole(fade_ms):
    # A signal of tones, as a telephone's or a metronome's: 0.4 s of sound, 0.2 s of rest; 440 Hz in whole periods.
    tone = 0.3 * np.sin(2 * np.pi * 440 * np.arange(19_200) / RATE_HZ)
    fade = fade_ms * 48
    tone *= np.clip((np.arange(19_200) + 0.5) / max(fade, 1), 0, 1) * np.clip(
        (19_200 - np.arange(19_200)) / max(fade, 1), 0, 1
    )
    found = damage(np.tile(np.concatenate((tone, np.zeros(9_600))), 6)[:, None])
    assert not {each.kind for each in found} - {"cut"}


def test_hits_in_digital_silence_are_no_drop_outs_and_no_clicks():
    # Like a sample that is played from its first sample on, at full level, and rings out.
    hit = np.exp(-np.arange(12_000) / 1200) * np.random.default_rng(1).standard_normal(12_000) * 0.3
    found = damage(np.tile(np.concatenate((hit * np.linspace(1, 0, 12_000), np.zeros(12_000))), 12)[:, None])
    assert [(each.kind, each.start) for each in found] == [("cut", 0)]  # it begins with a hit at full level


def test_steep_waves_do_not_click_and_tones_repeat_without_being_repeated():
    time = np.arange(4 * RATE_HZ)
    saw = 0.4 * ((time % 873) / 436.5 - 1.0)
    square = 0.4 * np.sign(np.sin(2 * np.pi * time / 480 + 0.1))
    exact = 0.4 * np.tile(np.sin(2 * np.pi * np.arange(480) / 480), 400)
    for wave in (saw, square, exact):
        kinds = {each.kind for each in damage((wave * np.hanning(len(wave)) ** 0.01)[:, None])}
        assert kinds <= {"cut"}, kinds
        assert not {each.kind for each in damage(wave[:, None])} - {"cut"}


def test_coarse_words_do_not_stand_still():
    time = np.arange(3 * RATE_HZ) / RATE_HZ
    soft = np.rint(4 * np.sin(2 * np.pi * 60 * time)) / 128  # eight bits, a few steps high
    assert not {each.kind for each in damage(soft[:, None])} - {"cut"}


def test_words_of_8_bits_in_a_file_of_16_do_not_stand_still():
    # Notes that swing out: many values before, none between the steps of 8 bits, on which the last waves stay for 1 ms.
    time = np.arange(2 * RATE_HZ) / RATE_HZ
    note = 0.9 * np.exp(-12 * (time % 0.5)) * np.sin(2 * np.pi * 160 * time)
    coarse = np.rint(note * 127) / 128
    assert not {each.kind for each in damage(coarse[:, None])} - {"cut"}


def test_it_is_told_with_its_place_and_what_to_do(tmp_path, making, voice):
    planted, at = np.repeat(voice, 2, axis=1), loud(voice)
    planted[at : at + 4800, 1] = 0.0
    made = survey(making.save(tmp_path / "choir.wav", planted), tempo=120)
    told = {each.kind: each for each in made.faults}
    place = told["drop-out"].places[0]
    assert abs(place.sample - at) <= 2
    assert (place.channel, told["drop-out"].count) == (2, 1)
    assert "on its channel 2 only, the longest 100 ms, first at 0:0" in told["drop-out"].sentence
    assert told["drop-out"].sentence.endswith("record or export it again, or mend it by hand.")
    # The waveform is 480 wide, and its mark stands where the drop-out is.
    assert f'x1="{round(at / len(planted) * 480)}"' in waveform(made.stems[0], [told["drop-out"]])


def test_one_drop_out_of_both_channels_is_one(tmp_path, making, voice):
    planted, at = np.repeat(voice, 2, axis=1) * [1.0, 0.7], loud(voice)
    planted[at : at + 4800] = planted[at + 9600 : at + 10_240] = 0.0
    told = {each.kind: each for each in survey(making.save(tmp_path / "choir.wav", planted)).faults}
    assert (told["drop-out"].count, len(told["drop-out"].places)) == (2, 4)


def test_cut_sound_is_told_and_an_excerpt_is_not(tmp_path, making):
    faded = making.tone(4.0, 0.2, 220.0)
    faded[:4800] *= np.linspace(0, 1, 4800)[:, None]
    faded[-4800:] *= np.linspace(1, 0, 4800)[:, None]
    steady = making.tone(4.0, 0.2, 330.0)[100:]
    silent_end = faded.copy()
    silent_end[100_000:] = 0.0
    making.save(tmp_path / "one" / "a.wav", faded)
    making.save(tmp_path / "one" / "b.wav", making.tone(4.0, 0.2, 330.0)[:-37])
    making.save(tmp_path / "one" / "c.wav", silent_end)
    told = {each.stem: each.sentence for each in survey(tmp_path / "one").faults if each.kind == "cut"}
    assert "ends in the middle of a sound" in told.pop("b")
    assert "breaks off at 0:02.083 (sample 100000)" in told.pop("c")
    assert told == {}
    for name in "abc":  # all of them end so: they were cut out of something longer
        making.save(tmp_path / "two" / f"{name}.wav", steady[: 4 * 48_000 - 200] * [[ord(name) / 100]])
    assert not [each for each in survey(tmp_path / "two").faults if each.kind == "cut"]


def test_a_sound_that_rises_from_its_files_first_sample_on_is_whole():
    # A swing of 12 Hz from zero on: about the mean of 50 ms its start looks loud.
    time = np.arange(2 * RATE_HZ) / RATE_HZ
    rising = 0.5 * (1.0 - np.cos(2 * np.pi * 12.0 * time)) * np.exp(-time)
    assert not [each for each in damage(rising[:, None]) if each.start == 0]
    begun = rising[RATE_HZ // 24 :]  # from its first crest on
    assert [(each.kind, each.start) for each in damage(begun[:, None])][:1] == [("cut", 0)]
