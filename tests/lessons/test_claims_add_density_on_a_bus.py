"""What the lesson "Add density on a bus" says in numbers, measured on the lesson's own chains."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
import reckoning as paper

import gainlib as gl

LESSON = "add-density-on-a-bus"


@pytest.fixture(scope="module")
def stems():
    return {name: gl.read(f"media/{name}.flac").between(9.5, 14.25) for name in ("kick", "snare", "hats", "bass")}


@pytest.fixture(scope="module")
def drums(stems):
    """The drum bus behind a trim and saturations of these drives, in a row."""

    @functools.cache
    def rendered(*drives_db, trim_db=0.0):
        strips = [gl.Strip(name, stems[name], (gl.Trim(),), to="drums") for name in ("kick", "snare", "hats")]
        row = [gl.Saturation(drive_db=each, low_end_db=0, name=f"bent {place}") for place, each in enumerate(drives_db)]
        buses = (gl.Bus("drums", (gl.Trim(trim_db), *row)),)
        return gl.Session(tuple(strips), buses=buses, main=gl.Bus("main")).render()

    return rendered


def rise_db(rendering, last="bent 0"):
    return rendering.level(f"drums/{last}").rms_dbfs - rendering.level("drums/trim").rms_dbfs


def percent(rendering, which="bent 0"):
    return rendering.reading(f"drums/{which}", "distortion_percent")


@pytest.mark.holds_the_text
def test_takes_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'names = ["kick", "snare", "hats"]' in text
    assert 'gl.read(f"media/{name}.flac").between(9.5, 14.25)' in text
    assert 'gl.Bus("drums", (gl.Trim(), gl.Saturation(drive_db=0, low_end_db=0)))' in text


DRUMS = sum(paper.stem(name, 9.5, 14.25) for name in ("kick", "snare", "hats"))
CURVE = "derived: tanh(kx)/tanh(k) with its shelf, oversampled here by another filter; AES17"
# Two ways of oversampling agree that well, in dB and in per cent.
NEAR = 0.02


@functools.cache
def on_paper(*drives_db, trim_db=0.0):
    """What enters the row of saturations and what leaves each of them."""
    signals = [DRUMS * 10 ** (trim_db / 20)]
    for each in drives_db:
        signals.append(paper.saturated(signals[-1], each, 0.0))
    return signals


def rise_on_paper(signals):
    return paper.rms_dbfs(signals[-1]) - paper.rms_dbfs(signals[0])


def test_the_peak_stays_and_the_rms_rises(drums, reckoned):
    """Read: "The peak did not move. The RMS rose by 3.5 dB"."""
    driven, expected = drums(8), on_paper(8)
    stays = abs(driven.level("drums/bent 0").peak_dbfs - driven.level("drums/trim").peak_dbfs) < 0.01
    moved = paper.peak_dbfs(expected[1]) - paper.peak_dbfs(expected[0])
    reckoned("The peak did not move.", True, abs(moved) < 0.01, stays, source=CURVE)
    quote = "The RMS rose by 3.5 dB"
    reckoned(quote, 3.5, rise_on_paper(expected), rise_db(driven), within=0.06, near=NEAR, source=CURVE)


def test_the_drums_have_a_crest_factor_of_20_db(drums, reckoned):
    """Read: "their crest factor, peak − RMS (AES17) + 3.0 dB, is 20 dB here"."""
    came = drums(8)
    level = came.level("drums/trim")
    quote = "their crest factor, peak − RMS (AES17) + 3.0 dB, is 20 dB here"
    for read in (gl.measure("crest_db", came.at("drums/trim")), level.peak_dbfs - level.rms_dbfs + 3.0):
        source = "published: IEC 60268-1, the stems' own samples"
        reckoned(quote, 20, paper.crest_db(DRUMS), read, within=0.5, near=0.02, source=source)


def test_12_db_lower_the_same_drive_does_next_to_nothing(drums, reckoned):
    """Read: "With the trim at −12 dB the same drive raises the RMS by only 0.3 dB"."""
    quote = "With the trim at −12 dB the same drive raises the RMS by only 0.3 dB"
    expected = rise_on_paper(on_paper(8, trim_db=-12.0))
    reckoned(quote, 0.3, expected, rise_db(drums(8, trim_db=-12.0)), near=NEAR, source=CURVE)


def test_what_the_distortion_reading_says(drums, reckoned):
    """Read: "5.4 % may be heard"; the cell prints 0.41 % for the same drive 12 dB lower."""
    expected = paper.distortion_percent(*on_paper(8))
    reckoned("5.4 % may be heard", 5.4, expected, percent(drums(8)), near=NEAR, source=CURVE)
    assert paper.distortion_percent(*on_paper(8, trim_db=-12.0)) == pytest.approx(0.41, abs=0.005)
    assert percent(drums(8, trim_db=-12.0)) == pytest.approx(0.41, abs=0.005)


@pytest.mark.parametrize(
    ("name", "quotes"),
    [
        ("hats", (("3.4 % with the low end at 0 dB", 3.4), ("0.9 % with it at 6 dB", 0.9))),
        ("bass", (("4.1 % and 3.9 %", 4.1), ("4.1 % and 3.9 %", 3.9))),
    ],
    ids=["hats", "bass"],
)
def test_the_low_end_spares_the_top(name, quotes, stems, reckoned):
    """Read: "3.4 % with the low end at 0 dB, 0.9 % with it at 6 dB"; the bass "4.1 % and 3.9 %"."""
    trim = gl.Trim(-6 - gl.measure("peak_dbfs", stems[name]))
    stem = paper.stem(name, 9.5, 14.25)
    stem = stem * 10 ** ((-6 - paper.peak_dbfs(stem)) / 20)
    for low_end_db, (quote, said) in zip((0.0, 6.0), quotes, strict=True):
        chain = [trim, gl.Saturation(drive_db=6, low_end_db=low_end_db)]
        found = gl.Session.of(stems[name], chain, name=name).render().reading("saturation", "distortion_percent")
        expected = paper.distortion_percent(stem, paper.saturated(stem, 6, low_end_db))
        reckoned(quote, said, expected, found, near=NEAR, source=CURVE)


def test_three_times_4_db_is_not_12_db(drums, reckoned):
    """Read: "It raised the RMS by 4.1 dB, and once 12 dB by 5.8 dB"; the cell prints 11.1 %."""
    quote = "It raised the RMS by 4.1 dB, and once 12 dB by 5.8 dB"
    read = rise_db(drums(4, 4, 4), "bent 2")
    # Three filters in a row leave the tips of the drums 0.03 dB apart.
    reckoned(quote, 4.1, rise_on_paper(on_paper(4, 4, 4)), read, within=0.08, near=0.03, source=CURVE)
    reckoned(quote, 5.8, rise_on_paper(on_paper(12)), rise_db(drums(12)), within=0.06, near=0.03, source=CURVE)
    assert percent(drums(12)) == pytest.approx(11.1, abs=0.05)
    assert paper.distortion_percent(*on_paper(12)) == pytest.approx(11.1, abs=0.05)


def test_three_small_figures_add_up(drums, reckoned):
    """Read: "The three show 2.0, 2.3 and 2.7 %", "All three together make 7.0 %"."""
    thrice, expected = drums(4, 4, 4), on_paper(4, 4, 4)
    for place, said in enumerate((2.0, 2.3, 2.7)):
        one = paper.distortion_percent(expected[place], expected[place + 1])
        quote, read = "The three show 2.0, 2.3 and 2.7 %", percent(thrice, f"bent {place}")
        reckoned(quote, said, one, read, within=0.05, near=NEAR, source=CURVE)
    came, went = thrice.at("drums/trim").samples, thrice.at("drums/bent 2").samples
    gain = float(np.vdot(came, went) / np.vdot(came, came))
    together = 100 * math.sqrt(float(np.sum((went - gain * came) ** 2) / np.sum(went**2)))
    whole = paper.distortion_percent(expected[0], expected[-1])
    reckoned("All three together make 7.0 %", 7.0, whole, together, near=NEAR, source=CURVE)


def test_one_saturation_of_the_same_density_distorts_as_much(drums, reckoned):
    """Read: "one saturation of the same density makes 6.7 %"."""
    quote = "one saturation of the same density makes 6.7 %"
    assert rise_db(drums(9.1)) == pytest.approx(rise_db(drums(4, 4, 4), "bent 2"), abs=0.05)
    assert rise_on_paper(on_paper(9.1)) == pytest.approx(rise_on_paper(on_paper(4, 4, 4)), abs=0.05)
    expected = paper.distortion_percent(*on_paper(9.1))
    reckoned(quote, 6.7, expected, percent(drums(9.1)), near=NEAR, source=CURVE)


@pytest.mark.reading_of_our_own
def test_zero_drive_is_not_there(drums):
    """Read: "At a drive of 0 dB this saturation passes every sample on as it came, bit for bit"."""
    off = drums(0)
    assert (off.at("drums/trim").samples == off.at("drums/bent 0").samples).all()


def bend_of(drive_db):
    """k of tanh(kx)/tanh(k) with that slope at zero, by bisection."""
    low, high = 1e-9, 20.0
    for _ in range(80):
        bend = (low + high) / 2
        low, high = (bend, high) if bend / math.tanh(bend) < 10 ** (drive_db / 20) else (low, bend)
    return bend


@functools.cache
def tones_on_paper(*frequencies_hz, times=64, bias=0.0):
    """The lines of tanh(kx + bias), 12 dB of drive, at 48 kHz; each tone at −6 dBFS; dB against that of 5000 Hz."""
    bend = bend_of(12)
    fine = np.arange(times * 48_000) / (times * 48_000)
    wave = sum(10 ** (-6 / 20) * np.sin(2 * np.pi * each * fine) for each in frequencies_hz)
    # Whole periods: of a second each Hz is a line. Those up to half of 48 kHz are what an ideal filter leaves.
    lines = np.abs(np.fft.rfft(np.tanh(bend * wave + bias)))[:24_000]
    return 20 * np.log10(np.maximum(lines, 1e-12) / lines[5000])


def tones_here(*frequencies_hz, **settings):
    strips = tuple(
        gl.Strip(str(each), gl.tone(-6, each, seconds=2, rate_hz=48000), (gl.Trim(),), to="tones")
        for each in frequencies_hz
    )
    curve = gl.Bus("tones", (gl.Saturation(drive_db=12, low_end_db=0, **settings),))
    out = gl.Session(strips, buses=(curve,), main=gl.Bus("main")).render().at("tones/saturation").samples
    lines = np.abs(np.fft.rfft(out[24_000:72_000, 0]))[:24_000]
    return 20 * np.log10(np.maximum(lines, 1e-12) / lines[5000])


def seen(levels_db):
    """The frequencies of the lines that the picture shows, down to 70 dB below the tone and up to 20 kHz."""
    return set(np.flatnonzero(levels_db[:20_001] > -70).tolist())


@pytest.mark.parametrize(
    ("quote", "tones", "on", "here", "new", "gone"),
    [
        ("Here it is the third, at 15 000 Hz", (5000,), {}, {}, {15_000}, {10_000, 13_000, 3000}),
        ("the **even** ones come, first at 10 000 Hz", (5000,), {"bias": 0.5}, {"bias": 0.5}, {10_000}, {13_000, 3000}),
        (
            "New lines stand at 13 000 and 3000 Hz",
            (5000,),
            {"times": 1},
            {"oversampled": False},
            {13_000, 3000},
            {10_000},
        ),
        ("Now there are lines at 3000 and 6000 Hz", (5000, 4000), {}, {}, {3000, 6000}, set()),
    ],
    ids=["odd", "even", "aliases", "intermodulation"],
)
def test_what_the_tones_show(quote, tones, on, here, new, gone, reckoned):
    """Move: which lines of the spectrum come, and which are not there."""
    expected, read = tones_on_paper(*tones, **on), tones_here(*tones, **here)
    found = [new <= seen(each) and not gone & seen(each) for each in (expected, read)]
    reckoned(quote, True, *found, source="derived: the transform of tanh(kx + b) over whole periods")
    assert np.allclose(expected[sorted(new)], read[sorted(new)], atol=0.1)


def test_1000_hz_is_a_trap(reckoned):
    """Read: "at 48 000 Hz a tone of 1000 Hz shows no aliasing"; an alias is |n f − 48000 m|."""

    def aliases(tone_hz):
        folded = {abs((each * tone_hz + 24_000) % 48_000 - 24_000) for each in range(3, 200, 2)}
        return {each for each in folded if each % tone_hz}

    quote = "a tone of 1000 Hz shows no aliasing, because all that comes back falls on its harmonics"
    expected = not aliases(1000) and bool(aliases(997))
    for tone_hz, empty in ((1000, True), (997, False)):
        tone = gl.Session.of(gl.tone(-1, tone_hz, seconds=1, rate_hz=48000), [gl.Saturation(18, 0, oversampled=False)])
        lines = np.abs(np.fft.rfft(tone.render().at("saturation").samples[:, 0]))
        others = np.delete(lines, np.arange(0, len(lines), tone_hz)).max() / lines.max()
        assert (others < 1e-9) == empty
    reckoned(quote, True, expected, True, source="derived: folding about half the rate")


def test_without_holding_the_peak_drive_is_louder(drums, stems, reckoned):
    """Move: "Now the peak moves as well"; setup: "They get **louder** with drive"."""
    strips = [gl.Strip(name, stems[name], (gl.Trim(),), to="drums") for name in ("kick", "snare", "hats")]
    buses = (gl.Bus("drums", (gl.Trim(), gl.Saturation(8, 0, holds_peak=False))),)
    rendering = gl.Session(tuple(strips), buses=buses, main=gl.Bus("main")).render()
    read = rendering.level("drums/saturation").peak_dbfs - rendering.level("drums/trim").peak_dbfs
    # On paper oversampled as well, by another filter: the tip of a drum lies between the samples.
    after = paper.saturated(DRUMS, 8, 0.0, holds_peak=False)
    expected = paper.peak_dbfs(after) - paper.peak_dbfs(DRUMS)
    assert read == pytest.approx(expected, abs=0.1)
    reckoned("Now the peak moves as well", True, expected > 2, read > 2, source=CURVE)


def test_without_holding_the_peak_a_fair_comparison_is_by_loudness(stems, reckoned):
    """Read: "With **holds peak** off the peak rises by 4.0 dB and the RMS by 7.5 dB"; "some 7 dB", "3 dB louder"."""
    after, came = paper.saturated(DRUMS, 8, 0.0, holds_peak=False), DRUMS
    rendering = freely_driven(stems, 8)
    first, last = rendering.level("drums/trim"), rendering.level("drums/bent 0")
    quote = "With holds peak off the peak rises by 4.0 dB and the RMS by 7.5 dB"
    peak, read = paper.peak_dbfs(after) - paper.peak_dbfs(came), last.peak_dbfs - first.peak_dbfs
    reckoned(quote, 4.0, peak, read, within=0.1, near=0.08, source=CURVE)
    rms, rms_read = paper.rms_dbfs(after) - paper.rms_dbfs(came), last.rms_dbfs - first.rms_dbfs
    reckoned(quote, 7.5, rms, rms_read, within=0.06, near=0.03, source=CURVE)
    loud = paper.loudness_lufs(paper.both_sides(after)) - paper.loudness_lufs(paper.both_sides(came))
    here = [gl.measure("loudness_lufs", rendering.at(f"drums/{tap}")) for tap in ("trim", "bent 0")]
    reckoned("some 7 dB", 7, loud, here[1] - here[0], within=0.5, near=0.05, source="published: BS.1770-5")
    still = loud - peak, here[1] - here[0] - read
    reckoned("still compares 3 dB louder", 3, *still, within=0.5, near=0.1, source=CURVE)


def freely_driven(stems, *drives_db):
    """The drum bus behind saturations that leave the level as it comes."""
    strips = [gl.Strip(name, stems[name], (gl.Trim(),), to="drums") for name in ("kick", "snare", "hats")]
    row = [gl.Saturation(each, 0, holds_peak=False, name=f"bent {place}") for place, each in enumerate(drives_db)]
    buses = (gl.Bus("drums", (gl.Trim(), *row)),)
    return gl.Session(tuple(strips), buses=buses, main=gl.Bus("main")).render()


def test_drives_add_up_where_nothing_brings_the_peak_back(stems, reckoned):
    """Read: "three times 4 dB come to 10.7 dB of RMS and once 12 dB to 10.8 dB"."""
    quote = "three times 4 dB come to 10.7 dB of RMS and once 12 dB to 10.8 dB"
    for drives_db, said in (((4, 4, 4), 10.7), ((12,), 10.8)):
        after = DRUMS
        for each in drives_db:
            after = paper.saturated(after, each, 0.0, holds_peak=False)
        expected = paper.rms_dbfs(after) - paper.rms_dbfs(DRUMS)
        read = rise_db(freely_driven(stems, *drives_db), f"bent {len(drives_db) - 1}")
        reckoned(quote, said, expected, read, within=0.06, near=0.03, source=CURVE)
