"""What the lesson "Balance with faders" says in numbers, measured on the lesson's own chains."""

from __future__ import annotations

import math

import pytest
import reckoning as paper

import gainlib as gl

LESSON = "balance-with-faders"
NAMES = ("kick", "snare", "bass", "guitar", "pad", "lead voice")


@pytest.fixture(scope="module")
def voice():
    return gl.takes(LESSON)["lead voice", "chorus"].between(0, 6.5)


@pytest.fixture(scope="module")
def stems():
    return {name: gl.takes(LESSON)[name, "chorus"].between(0, 7.5) for name in NAMES}


def summed(*tracks):
    """The level of the main where these (take, trim in dB) meet."""
    strips = [gl.Strip(f"track {place}", take, (gl.Trim(db),)) for place, (take, db) in enumerate(tracks)]
    return gl.Session(tuple(strips), main=gl.Bus("main")).render().level("main/sum")


@pytest.mark.holds_the_text
def test_takes_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'voice = takes["lead voice", "chorus"].between(0, 6.5)' in text
    assert 'names = ["kick", "snare", "bass", "guitar", "pad", "lead voice"]' in text
    assert 'stems = {name: takes[name, "chorus"].between(0, 7.5) for name in names}' in text
    assert "[gl.Trim(14), gl.Fader(-32)]" in text


CHORUS = {name: paper.take(LESSON, name, "chorus") for name in NAMES}
VOICE = paper.part(CHORUS["lead voice"], 0, 6.5)
STEMS = {name: paper.part(CHORUS[name], 0, 7.5) for name in NAMES}
AES17 = "published: AES17, RMS and peak of the stems' own samples"


def summed_on_paper(*tracks):
    """The samples of the main where these (samples, trim in dB) meet."""
    return sum(paper.both_sides(samples) * 10 ** (db / 20) for samples, db in tracks)


@pytest.mark.reading_of_our_own
def test_a_millimetre_at_minus_40_db_is_five_times_as_coarse():
    """Read: "At −40 dB one millimetre is five times as coarse as at 0 dB"; the taper is the course's own."""
    assert gl.Fader(-40).db_per_mm / gl.Fader(0).db_per_mm == pytest.approx(5)
    assert gl.Fader(0).db_per_mm == pytest.approx(0.4)


def test_trim_and_fader_make_the_same_level_in_two_ways(stems, reckoned):
    """Move: "Lower the trim to −18 dB and bring the fader up to 0 dB. The sound is the same"."""
    hot = gl.Session.of(stems["pad"], [gl.Trim(14), gl.Fader(-32)], name="pad")
    calm = hot.replaced({"trim/gain_db": -18, "fader/gain_db": 0})
    levels = [each.render().level("fader").rms_dbfs for each in (calm, hot)]
    expected = paper.rms_dbfs(STEMS["pad"]) - 18
    quote = "Lower the trim to −18 dB and bring the fader up to 0 dB. The sound is the same"
    read = levels == pytest.approx([expected, expected], abs=1e-6)
    reckoned(quote, True, 14 - 32 == -18 + 0, read, source=AES17)


def test_the_same_voice_twice_rises_by_6_db(voice, reckoned):
    """Read: "The same signal twice rises by 6 dB"."""
    read = summed((voice, 0), (voice, 0)).rms_dbfs - gl.measure("rms_dbfs", voice)
    quote = "The same signal twice rises by 6 dB"
    reckoned(quote, 6, 20 * math.log10(2), read, near=1e-6, source="derived: twice the voltage")


def test_a_voice_10_db_lower_still_adds_2_db(voice, reckoned):
    """Move: "Pull the second fader down to −10 dB. How much does it still add?" It is not nothing."""
    read = summed((voice, 0), (voice, -10)).rms_dbfs - gl.measure("rms_dbfs", voice)
    quote = "Pull the second fader down to −10 dB. How much does it still add?"
    added = 20 * math.log10(1 + 10 ** (-10 / 20))
    reckoned(quote, True, abs(added - 2.4) < 0.05, abs(read - added) < 1e-6, source="derived: coherent sum, 2.387 dB")


def test_two_strangers_rise_by_about_3_db(reckoned):
    """Read: "Two tracks that have nothing to do with each other rise by about 3 dB"."""
    takes = [gl.takes(LESSON)[name, "chorus"] for name in ("guitar", "pad")]
    both = summed(*((take, -20 - gl.measure("rms_dbfs", take)) for take in takes))
    quote = "Two tracks that have nothing to do with each other rise by about 3 dB"
    source = "derived: powers add, 10 log 2"
    reckoned(quote, 3, 10 * math.log10(2), both.rms_dbfs + 20, within=0.25, source=source)
    stems = [CHORUS[name] for name in ("guitar", "pad")]
    rise = paper.rms_dbfs(summed_on_paper(*((stem, -20 - paper.rms_dbfs(stem)) for stem in stems))) + 20
    assert both.rms_dbfs + 20 == pytest.approx(rise, abs=1e-6)


def test_the_voice_twice_1_ms_apart_does_not_rise(voice, reckoned):
    """Read: "the same voice twice, one thousandth of a second (1 ms) apart, changes by"."""
    late = gl.takes(LESSON)["lead voice", "chorus"].between(0.001, 6.501)
    read = summed((voice, 0), (late, 0)).rms_dbfs - gl.measure("rms_dbfs", voice)
    rise = paper.rms_dbfs(VOICE + paper.part(CHORUS["lead voice"], 0.001, 6.501)) - paper.rms_dbfs(VOICE)
    quote = "one thousandth of a second (1 ms) apart, changes by"
    reckoned(quote, True, rise < 4, abs(read - rise) < 1e-6, source=AES17)


@pytest.mark.parametrize(("tracks", "rise_db"), [(4, 6), (8, 9), (16, 12), (32, 15)])
def test_the_rise_of_many_strangers(tracks, rise_db, reckoned):
    """Read: "by 6 dB for 4 tracks, 9 dB for 8, 12 dB for 16, 15 dB for 32"; *derived*, 10 log N, printed figures."""
    from gainlib.decibels import sum_db

    read = sum_db([-20.0] * tracks) + 20
    quote = f"{rise_db} dB for {tracks}"
    reckoned(quote, rise_db, 10 * math.log10(tracks), read, within=0.1, near=1e-9, source="derived: powers add")


def test_six_tracks_at_minus_15_leave_the_sum_at_minus_8(stems, reckoned):
    """Read: "Six tracks that each peak near −15 dBFS leave the sum of this band at −8 dBFS"."""
    level = summed(*((take, -15 - gl.measure("peak_dbfs", take)) for take in stems.values()))
    expected = paper.peak_dbfs(summed_on_paper(*((each, -15 - paper.peak_dbfs(each)) for each in STEMS.values())))
    quote = "Six tracks that each peak near −15 dBFS leave the sum of this band at −8 dBFS"
    reckoned(quote, -8, expected, level.peak_dbfs, within=0.5, near=1e-6, source=AES17)


def test_six_tracks_near_full_scale_do_not(stems, reckoned):
    """Read: "tracks that each peak near 0 leave none"."""
    read = summed(*((take, -gl.measure("peak_dbfs", take)) for take in stems.values())).peak_dbfs
    expected = paper.peak_dbfs(summed_on_paper(*((each, -paper.peak_dbfs(each)) for each in STEMS.values())))
    reckoned("tracks that each peak near 0 leave none", True, expected > 6, read > 6, source=AES17)


def test_the_band_as_it_comes_wants_a_balance(stems, reckoned):
    """Move: "Keep the peak of the sum below −6 dBFS": as the stems came, it is above."""
    read = summed(*((take, 0) for take in stems.values())).peak_dbfs
    expected = paper.peak_dbfs(summed_on_paper(*((each, 0) for each in STEMS.values())))
    assert read == pytest.approx(expected, abs=1e-6)
    reckoned("Keep the peak of the sum below −6 dBFS", True, -6 < expected < 0, -6 < read < 0, source=AES17)


def loudness_of(voice, position, law_db):
    session = gl.Session.of(voice, [gl.Pan(position, law_db)], name="voice")
    return gl.measure("loudness_lufs", session.render().at("pan"))


def test_pan_laws_in_the_middle(voice, reckoned):
    """Read: "With the −3 dB law … the same loudness"; "With the −6 dB law the voice is 3 dB softer in the middle"."""
    side = loudness_of(voice, 1.0, -3.0)
    # Power in the middle against the side: twice the square of the law's gain.
    law = {db: 10 * math.log10(2 * 10 ** (db / 10)) for db in (-3.0, -4.5, -6.0)}
    source = "common practice: the law's gain in the middle, on both sides; derived: powers add (BS.1770-5)"
    read = abs(loudness_of(voice, 0.0, -3.0) - side) < 0.05
    reckoned("the same loudness", True, abs(law[-3.0]) < 0.05, read, source=source)
    quote = "With the −6 dB law the voice is 3 dB softer in the middle"
    reckoned(quote, 3, -law[-6.0], side - loudness_of(voice, 0.0, -6.0), source=source)
    assert side - loudness_of(voice, 0.0, -4.5) == pytest.approx(-law[-4.5], abs=0.05)


def test_pan_laws_in_mono(voice, reckoned):
    """Read: "the −6 dB law keeps the level, and with the −3 dB law the middle comes out 3 dB louder"."""

    def mono(position, law_db):
        samples = gl.Session.of(voice, [gl.Pan(position, law_db)], name="voice").render().at("pan").samples
        return gl.measure("rms_dbfs", gl.Audio(samples.sum(axis=1), voice.rate_hz))

    source = "derived: L + R is 1 for straight lines, the root of 2 for sine and cosine"
    read = mono(0.0, -6.0) == pytest.approx(mono(1.0, -6.0), abs=0.01)
    kept = paper.panned(VOICE, 0.0, -6.0).sum(axis=1) == pytest.approx(VOICE, abs=1e-12)
    reckoned("the −6 dB law keeps the level", True, kept, read, source=source)
    read = mono(0.0, -3.0) - mono(1.0, -3.0)
    quote = "with the −3 dB law the middle comes out 3 dB louder"
    reckoned(quote, 3, 20 * math.log10(math.sqrt(2)), read, near=0.001, source=source)


def test_a_voice_and_its_opposite_leave_nothing(voice, reckoned):
    """Read: "Turn the polarity of one of the two equal voices, and nothing is left"."""
    pair = gl.Strip("one", voice, (gl.Fader(),)), gl.Strip("two", voice, (gl.Polarity(True), gl.Fader()))
    read = gl.Session(pair, main=gl.Bus("main")).render().level("main/sum").peak_dbfs
    quote = "Turn the polarity of one of the two equal voices, and nothing is left"
    reckoned(quote, True, not (VOICE - VOICE).any(), read == -math.inf, source="derived: x - x")


@pytest.mark.parametrize(("position", "words"), [(1.0, "mono: 3.0 dB softer"), (0.0, "mono: as loud as in stereo")])
def test_the_side_is_3_db_softer_in_mono_and_the_middle_is_not(voice, position, words, reckoned):
    """Read: "said 3 dB softer at the side and nothing in the middle"; the player's own words."""
    player = gl.bench(gl.Session.of(voice, [gl.Pan(position)], name="voice"), controls=["pan/position"]).panel.player
    player.mono = True
    player.match()
    sides = paper.panned(VOICE, position, -3.0)
    mono = sides.mean(axis=1)
    change = 10 * math.log10(2 * (mono**2).sum() / (sides**2).sum())
    quote = "said 3 dB softer at the side and nothing in the middle"
    near = -3.0103 if position else 0.0
    reckoned(
        quote, True, abs(change - near) < 0.001, player.fold.startswith(words), source="derived: power of the mean"
    )
