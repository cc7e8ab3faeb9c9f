"""Two sides and two stems against each other: late, upside down, swapped, the same once more, and what mono loses."""

from __future__ import annotations

import numpy as np
import pytest

from gainlib import read
from gainlib.storage import bundled
from gainlib.surveys.stem import measure_stem
from gainlib.surveys.survey import survey

RATE_HZ = 48_000


def pair(making, tmp_path, left, right):
    return measure_stem(making.save(tmp_path / "take.wav", np.hstack((left, right))), "take").pair


def told(making, tmp_path, left, right):
    made = survey(making.save(tmp_path / "take.wav", np.hstack((left, right))))
    return {each.kind: each.sentence for each in made.faults}


@pytest.mark.parametrize("gain", [1.0, 0.5, 0.891])
def test_mono_loses_what_the_closed_form_says(tmp_path, making, gain):
    one, other = making.noise(1, 3.0), making.noise(2, 3.0)
    # Alike: power of (1 + g) / 2 against the mean of 1 and g squared; strangers: 10 log10 2.
    alike = -10 * np.log10((1 + gain) ** 2 / (2 * (1 + gain**2)))
    assert pair(making, tmp_path, one, gain * one).mono_loss_db == pytest.approx(alike, abs=1e-3)
    assert pair(making, tmp_path, one, other).mono_loss_db == pytest.approx(10 * np.log10(2), abs=0.1)


def test_a_side_that_comes_late(tmp_path, making):
    one = making.noise(1, 4.0)
    late = np.concatenate((np.zeros((240, 1)), one[:-240]))
    found = told(making, tmp_path, one, late)
    assert "right channel comes 5 ms later" in found["late channel"]
    found = told(making, tmp_path, -late, one)
    assert "left channel comes 5 ms later with the same sound, upside down" in found["late channel"]


def test_sides_that_cancel_for_some_time(tmp_path, making):
    one = making.noise(1, 8.0)
    turned = one.copy()
    turned[96_000:192_000] *= -1
    found = told(making, tmp_path, one, turned)
    # 2 s of the 7.6 s in which it sounds, by stretches of 0.4 s.
    assert "26 % of its sound" in found["opposed channels"]
    assert "longest from 0:02.000 to 0:04.000" in found["opposed channels"]


def test_wide_sound_is_no_side_that_was_turned_over(tmp_path, making):
    # Sides m + s and m - s of strangers m and s correlate by (m² - s²)/(m² + s²), and in mono lose 10 log10(1 + s²/m²).
    middle, side = making.noise(1, 8.0), making.noise(2, 8.0)
    wide = side * np.sqrt(5.0)  # -0.67 and 7.8 dB
    left, right = middle + side, middle - side
    left[96_000:192_000], right[96_000:192_000] = (middle + wide)[96_000:192_000], (middle - wide)[96_000:192_000]
    assert set(told(making, tmp_path, 0.3 * left, 0.3 * right)) <= {"cut"}
    found = told(making, tmp_path, 0.3 * (middle + wide), 0.3 * (middle - wide))
    assert set(found) - {"cut"} == {"mono loss"}  # the noise begins at once
    assert "in mono it loses 7.8 dB" in found["mono loss"]
    # From 20 times the power on they are one sound upside down: -0.9.
    found = told(making, tmp_path, 0.1 * (middle + 4.5 * side), 0.1 * (middle - 4.5 * side))
    assert set(found) - {"cut"} == {"opposed channels"}


def test_a_low_end_that_is_in_the_difference_only(tmp_path, making):
    low = making.tone(4.0, 0.2, 60.0)
    high, other = making.noise(1, 4.0, rms=0.1), making.noise(2, 4.0, rms=0.1)
    assert "low end vanishes" in told(making, tmp_path, high + low, high + 0.3 * other - low)["low end"]
    assert "low end" not in told(making, tmp_path, high + low, high + 0.3 * other + low)


@pytest.mark.parametrize(("balance_db", "kinds"), [(5.9, set()), (6.0, {"imbalance"}), (10.0, {"imbalance"})])
def test_imbalance_from_6_db_on(tmp_path, making, balance_db, kinds):
    shared, one, other = (making.noise(seed, 3.0) for seed in (1, 2, 3))
    right = (shared + 0.5 * other) / np.sqrt(((shared + 0.5 * other) ** 2).mean())
    left = (shared + 0.5 * one) / np.sqrt(((shared + 0.5 * one) ** 2).mean())
    found = told(making, tmp_path, 0.05 * left, 0.05 * right * 10 ** (-balance_db / 20))
    assert set(found) == kinds


def test_dual_mono_with_dither_and_a_level_apart(tmp_path, making):
    one = making.noise(1, 3.0)
    dither = np.random.default_rng(2).random((2, len(one), 1)) - np.random.default_rng(3).random((2, len(one), 1))
    left, right = (np.rint(one * 32768 + each) / 32768 for each in dither)
    assert "both channels hold the same: a mono file" in told(making, tmp_path, left, right)["dual mono"]
    found = told(making, tmp_path, one, one * 10 ** (-1 / 20))
    assert "1.0 dB louder on the left" in found["dual mono"]


def session(folder, making, **stems):
    for name, samples in stems.items():
        making.save(folder / f"{name}.wav", samples)
    return {(each.stem, each.kind): each.sentence for each in survey(folder).faults if each.kind != "dual mono"}


def test_stems_that_are_one_and_the_same(tmp_path, making):
    one, other = making.noise(1, 4.0), making.noise(2, 4.0)
    found = session(tmp_path, making, a=one, b=one, c=other, d=other * 10 ** (-6 / 20) + 1e-4 * making.noise(3, 4.0))
    assert set(found) == {("b", "twin"), ("d", "twin")}
    assert "it is a once more, sample for sample" in found["b", "twin"]
    assert "it is c once more 6.0 dB down" in found["d", "twin"]


@pytest.mark.parametrize(("samples", "way"), [(1000, "later"), (-2400, "earlier")])
def test_a_stem_that_is_late_against_what_it_shares(tmp_path, making, samples, way):
    drum, own = making.noise(1, 6.0), making.noise(2, 6.0)
    shifted = np.roll(drum, samples, axis=0)
    shifted[: max(0, samples)] = 0.0
    found = session(tmp_path, making, direct=drum, room=0.5 * shifted + 0.1 * own)
    assert f"comes {abs(samples) / 48:.0f} ms {way} in it" in found["room", "late"]
    assert set(found) - {("room", "cut")} == {("room", "late")}


def test_a_held_note_is_not_called_late(tmp_path, making):
    found = session(tmp_path, making, a=making.tone(4.0, 0.2, 110.0), b=making.tone(4.0, 0.1, 110.0)[::-1].copy())
    assert not [kind for _, kind in found if kind == "late"]


def test_swapped_sides_against_a_neighbour(tmp_path, making):
    left, right, middle = (making.noise(seed, 4.0) for seed in (1, 2, 3))
    near = np.hstack((middle + left, middle + right))
    found = session(tmp_path, making, near=near, room=near[:, ::-1] * 0.5)
    assert ("room", "swapped sides") in found


def test_a_rate_that_the_header_has_wrong(tmp_path, making):
    for name in "abc":
        making.save(tmp_path / f"{name}.wav", making.noise(ord(name), 6.0))
    making.save(tmp_path / "d.wav", making.noise(9, 6.0, rate_hz=44_100))
    found = {each.stem: each.sentence for each in survey(tmp_path).faults}
    assert "just as if sound of 44.1 kHz were labelled 48 kHz" in found["d"]
    assert set(found) == {"d"}


@pytest.mark.parametrize("missing", [1, 20, 100])
def test_samples_that_are_missing_at_the_end(tmp_path, making, missing):
    found = session(tmp_path, making, a=making.noise(1, 4.0), b=making.noise(2, 4.0), c=making.noise(3, 4.0)[:-missing])
    by = {1: "1 sample", 20: "20 samples", 100: "0.002 s"}[missing]
    assert found == {("c", "length"): f"it is {by} shorter than most (4.000 s)."}


def test_another_rate_has_no_length_of_so_many_samples(tmp_path, making):
    # 4.00001 s of 44.1 kHz, and no two of the others alike: no millisecond is missing anywhere.
    for index, name in enumerate("abc"):
        making.save(tmp_path / f"{name}.wav", making.noise(index, 4.0)[: -1 - index])
    making.save(tmp_path / "d.wav", making.noise(4, 4.0, rate_hz=44_100), rate_hz=44_100)
    assert {each.kind for each in survey(tmp_path).faults} == {"rate"}


@pytest.mark.parametrize("seconds", [1.0, 2.0, 4.0])
def test_two_takes_of_one_part_are_no_late_channel(tmp_path, making, seconds):
    # The course's guitar is played twice, panned apart: neither take is the other, a little later.
    take = read(bundled("media/guitar.flac")).samples
    count = round(seconds * making.RATE_HZ)
    for start in range(0, len(take) - count, count // 2):
        excerpt = take[start : start + count]
        assert "late channel" not in told(making, tmp_path, excerpt[:, :1], excerpt[:, 1:])


def test_words_that_use_16_bits_and_coarse_words_that_are_not_clipped(tmp_path, making):
    one = making.noise(1, 3.0)
    making.save(tmp_path / "a.wav", np.rint(one * 32768) / 32768)
    made = survey(tmp_path / "a.wav")
    assert [each.kind for each in made.faults] == ["word"]
    assert made.sound
    making.save(tmp_path / "b.wav", one, subtype="PCM_U8")
    making.save(tmp_path / "c.wav", one, subtype="ULAW")
    for name in "bc":
        assert "flat tops" not in {each.kind for each in survey(tmp_path / f"{name}.wav").faults}
