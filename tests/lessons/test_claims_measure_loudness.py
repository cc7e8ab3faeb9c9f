"""What the lesson "Measure loudness" says in numbers, on the lesson's own recordings."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
import reckoning as paper
from scipy.signal import freqz, lfilter

import gainlib as gl
from gainlib.meters import k_weighting_db, loudness
from gainlib.storage import lesson_files

LESSON = "measure-loudness"
LOUDNESS = "published: BS.1770-5, annex 1"
FILTER = "published: BS.1770-5, annex 1, tables 1 and 2"


def filter_db(hertz):
    """The two printed sections, by scipy."""
    found = [np.abs(freqz(*each, worN=[hertz], fs=48_000)[1][0]) for each in (paper.HEAD, paper.RLB)]
    return 20 * math.log10(found[0] * found[1])


def windows_lufs(samples, seconds):
    """All windows of that length, every 10 ms, without gates."""
    weighted = lfilter(*paper.RLB, lfilter(*paper.HEAD, samples[:, 0])) ** 2
    summed = np.concatenate(([0.0], np.cumsum(weighted)))
    size = round(seconds * paper.RATE_HZ)
    at = np.arange(0, len(weighted) - size + 1, paper.RATE_HZ // 100)
    return -0.691 + 10 * np.log10(np.maximum((summed[at + size] - summed[at]) / size, 1e-30))


@pytest.fixture(scope="module")
def start(lesson_start):
    return lesson_start(LESSON)


@pytest.mark.holds_the_text
def test_the_chain_here_is_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'gl.Session.of(hats, [gl.Trim(8.8), gl.KWeighting()], name="hats")' in text
    assert 'him = gl.Strip("speech", presenter, [gl.Trim(), gl.Pan()])' in text
    assert 'gl.read("media/guitar.flac").between(0, 17.5), [gl.Trim(-6)])' in text


@pytest.mark.parametrize(
    ("hertz", "said", "quote"),
    [
        (50, 3.9, "At 50 Hz the filter takes 3.9 dB away"),
        (6000, 4, "above 5 kHz it adds 4 dB"),
        (1000, 0.7, "At 1 kHz it adds 0.7 dB"),
    ],
)
def test_what_the_filter_does(hertz, said, quote, reckoned):
    """Read: "At 50 Hz the filter takes 3.9 dB away, and above 5 kHz it adds 4 dB. At 1 kHz it adds 0.7 dB"."""
    reckoned(quote, said, abs(filter_db(hertz)), abs(float(k_weighting_db(hertz, 48_000))), near=0.05, source=FILTER)


def test_a_tone_on_one_side_reads_3_db_less(reckoned):
    """Read: "3 dB below its peak: −26 LUFS for a peak of −23 dBFS"."""
    quote = "3 dB below its peak: −26 LUFS for a peak of −23 dBFS"
    read = gl.measure("loudness_lufs", gl.tone(-23, 997, seconds=2, rate_hz=48_000))
    reckoned(quote, -26, -23 - 3.01, read, source="published: BS.1770-5, annex 1, its own example: −3.01 for 0 dBFS")


def test_the_hats_are_5_lu_louder_at_the_same_rms(start, reckoned):
    """Read: "The hats are louder, by about 5 LU"; the trim of the bench brings both to one RMS."""
    kick, hats = paper.stem("kick", 9.5, 15.5, -6), paper.stem("hats", 9.5, 15.5, 8.8)
    assert paper.rms_dbfs(kick) == pytest.approx(paper.rms_dbfs(hats), abs=0.1)
    turned = {
        name: gl.Session.of(start[name], [gl.Trim(trim_db)], name=name).render().at("trim")
        for name, trim_db in (("kick", -6.0), ("hats", 8.8))
    }
    read = gl.measure("loudness_lufs", turned["hats"]) - gl.measure("loudness_lufs", turned["kick"])
    louder = paper.loudness_lufs(hats) - paper.loudness_lufs(kick)
    reckoned("The hats are louder, by about 5 LU", 5, louder, read, within=0.5, near=0.5, source=LOUDNESS)
    assert read == pytest.approx(louder, abs=0.02)


def test_the_calls_are_louder_as_a_whole_than_in_their_loudest_three_seconds(start, reckoned):
    """Read: "The whole of the calls reads −26.3 LUFS. Its loudest three seconds read −28.6, that is 2.3 LU less"."""
    samples = paper.stem("radio-presenter", 3, 15).reshape(-1, 1).copy()
    samples[48_000 : 6 * 48_000] = samples[7 * 48_000 :] = 0
    assert np.allclose(samples, start["calls"].samples, atol=1e-7)
    whole, loudest = paper.loudness_lufs(samples), windows_lufs(samples, 3.0).max()
    read = loudness(start["calls"].samples, 48_000)
    quote = "The whole of the calls reads −26.3 LUFS"
    reckoned(quote, -26.3, whole, read.integrated_lufs, source=LOUDNESS)
    quote = "Its loudest three seconds read −28.6, that is 2.3 LU less"
    reckoned(quote, -28.6, loudest, read.short_term_max_lufs, source="published: EBU Tech 3341, 3 s without gates")
    reckoned(quote, 2.3, whole - loudest, read.integrated_lufs - read.short_term_max_lufs, source=LOUDNESS)
    blocks = windows_lufs(samples, 0.4)[::10]
    gate = 10 * math.log10(np.mean(10 ** (blocks[blocks > -70] / 10))) - 10
    kept = read.blocks_lufs > read.relative_gate_lufs
    quote = "only 23 of 117 blocks count"
    reckoned(quote, 23, int((blocks > max(gate, -70)).sum()), int(kept.sum()), within=0, source=LOUDNESS)
    reckoned(quote, 117, len(blocks), len(read.blocks_lufs), within=0, source=LOUDNESS)


def test_the_presenters_whole_is_a_little_over_her_loudest_three_seconds(start, reckoned):
    """Read: "The presenter's whole reads 0.2 LU over his loudest three seconds"."""
    samples = paper.stem("radio-presenter").reshape(-1, 1)
    over = paper.loudness_lufs(samples) - windows_lufs(samples, 3.0).max()
    read = loudness(start["presenter"].samples, 48_000)
    found = read.integrated_lufs - read.short_term_max_lufs
    quote = "The presenter's whole reads 0.2 LU over his loudest three seconds"
    reckoned(quote, 0.2, over, found, within=0.06, source=LOUDNESS)


@pytest.mark.parametrize(
    ("gains", "said", "weight", "quote"),
    [
        ([1], -23.0, 1, "One channel reads −23.0 LUFS"),
        ([1, 1], -20.0, 2, "both sides of a stereo −20.0"),
        ([1, -1], -20.0, 2, "it reads −20.0 as before"),
        ([1, 1, 1, 0, 1, 1], -15.4, 3 + 2 * 1.41, "Five channels with the same tone read −15.4 LUFS"),
        ([0, 0, 0, 1, 0, 0], True, 0, "the low channel does not count at all"),
    ],
)
def test_the_channels(gains, said, weight, quote, reckoned):
    """Read: "One channel reads −23.0 LUFS, and both sides of a stereo −20.0"; "Five channels [...] read −15.4 LUFS"."""
    tone = gl.tone(-20, 997, seconds=2, rate_hz=48_000)
    read = gl.measure("loudness_lufs", gl.Audio(tone.samples * [gains], 48_000))
    source = "published: BS.1770-5, annex 1, table 3: weights 1, and 1.41 behind"
    if said is True:
        reckoned(quote, True, weight == 0, read == -math.inf, source=source)
    else:
        reckoned(quote, said, -20 - 3.01 + 10 * math.log10(weight), read, within=0.06, source=source)


def test_behind_counts_1_5_db_more(reckoned):
    """Read: "the two channels behind count 1.5 dB more"."""
    tone = gl.tone(-20, 997, seconds=2, rate_hz=48_000).samples
    behind, front = (gl.measure("loudness_lufs", gl.Audio(tone * [each], 48_000)) for each in
                     ([0, 0, 0, 0, 1, 0], [1, 0, 0, 0, 0, 0]))  # fmt: skip
    source = "published: BS.1770-5, annex 1, table 3"
    reckoned("count 1.5 dB more", 1.5, 10 * math.log10(1.41), behind - front, source=source)


def test_the_item_rises_and_the_speech_does_not(start, reckoned):
    """Read: "the item rose by 9.5 LU"; "the second one's speech ends 9.5 LU lower"; "*less* than its speech alone"."""
    speech = paper.panned(paper.stem("radio-presenter"), 0.0)
    her = gl.Strip("speech", start["presenter"], [gl.Trim(), gl.Pan()])
    whole, read = {}, {}
    for gain_db in (-6, 12):
        music = paper.stem("guitar", 0, 17.5, gain_db)
        whole[gain_db] = paper.loudness_lufs(speech + music[: len(speech)])
        bed = gl.Strip("music", gl.read("media/guitar.flac").between(0, 17.5), [gl.Trim(gain_db)])
        session = gl.Session([her, bed], main=gl.Bus("main", [gl.Trim()])).render()
        read[gain_db] = gl.measure("loudness_lufs", session.at("main/trim"))
    rose = whole[12] - whole[-6]
    for quote in ("the item rose by 9.5 LU", "the second one's speech ends 9.5 LU lower"):
        reckoned(quote, 9.5, rose, read[12] - read[-6], within=0.1, near=0.05, source=LOUDNESS)
    assert read[12] - read[-6] == pytest.approx(rose, abs=0.05)
    alone = paper.loudness_lufs(speech)
    reckoned("the item reads less than its speech alone", True, whole[-6] < alone, read[-6] < alone, source=LOUDNESS)


@pytest.mark.holds_the_text
def test_the_filter_of_the_bench_is_the_one_of_the_meter(start):
    """Move: "a filter in front of the meter"."""
    heard = gl.Session.of(start["kick"], [gl.KWeighting()], name="kick").render().at("weighting").samples
    expected = lfilter(*paper.RLB, lfilter(*paper.HEAD, paper.stem("kick", 9.5, 15.5)))
    assert np.allclose(heard[:, 0], expected, atol=1e-9)


@pytest.fixture(scope="module")
def six():
    """The lesson's bench of six loudspeakers."""
    cells = json.loads(lesson_files()[LESSON].read_text(encoding="utf-8"))["cells"]
    source = next("".join(each["source"]) for each in cells if each["id"] == "move-channels")
    given = {"gl": gl}
    exec(source, given)
    return given["surround"]


@pytest.mark.parametrize(
    ("on", "turned", "said", "weight", "quote"),
    [
        (["left"], False, -23.0, 1, "One channel reads −23.0 LUFS"),
        (["left", "right"], True, -20.0, 2, "it reads −20.0 as before"),
        (["left behind"], False, True, 1.41, "the two channels behind count 1.5 dB more"),
        (["low"], False, True, 0, "the low channel does not count at all"),
        (
            ["left", "right", "centre", "left behind", "right behind"],
            False,
            -15.4,
            5.82,
            "the same tone read −15.4 LUFS",
        ),
    ],
)
def test_the_six_loudspeakers_read_what_the_text_says(on, turned, said, weight, quote, six, reckoned):
    """Move: the bench of six loudspeakers; Read: "**Channels.**" and "In **5.1** [...]"."""
    muted = {f"{each.name}/fader/muted": each.name not in on for each in six.strips}
    read = gl.measure(
        "loudness_lufs", six.replaced({**muted, "right/polarity/inverted": turned}).render().at("main/trim")
    )
    expected = -20 - 3.01 + 10 * math.log10(weight) if weight else -math.inf
    if said is True:
        expected, read = abs(expected + 21.5) < 0.05 or not weight, abs(read + 21.5) < 0.05 or read == -math.inf
    reckoned(quote, said, expected, read, near=0.01, source=LOUDNESS)
