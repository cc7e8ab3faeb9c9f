"""What the lesson "Align the outboard" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import math

import numpy as np
import pytest
import reckoning as paper

import gainlib as gl
from gainlib import decibels

LESSON = "align-outboard"


@pytest.fixture(scope="module")
def session():
    take = gl.read("media/lead-voice.flac").between(0, 9.4)
    loop = gl.OutboardInsert("EBU R 68", send="+4 dBu", receive="-10 dBV", device_noise_dbu=-55)
    return gl.Session.of(take, [gl.Trim(), loop, gl.Fader()], name="voice")


def noisy(session, **gains):
    changes = {"insert/receive": "+4 dBu", "insert/device_noise_dbu": -40}
    return session.replaced(changes | {f"{stage}/gain_db": gain for stage, gain in gains.items()}).render()


@pytest.mark.holds_the_text
def test_the_chain_here_is_the_lessons_chain(lesson_text):
    text = lesson_text(LESSON)
    assert 'gl.OutboardInsert("EBU R 68", send="+4 dBu", receive="-10 dBV", device_noise_dbu=-55)' in text
    assert '{"insert/receive": "+4 dBu", "insert/device_noise_dbu": -40}' in text


TAKE = paper.stem("lead-voice", 0, 9.4)
# -10 dBV in dBu: 0 dBu is 1 mW in 600 ohms, the root of 0.6 V.
MINUS_10_DBV_DBU = -10 - 10 * math.log10(0.6)
UNITS = "published: 0 dBV is 1 V, 0 dBu is 0.775 V (1 mW in 600 ohms, ITU-R BS.645-2); derived: the decibels between"
NOISE = "derived: powers add; the device's noise in 20 kHz, 0.79 dB more up to 24 kHz; EBU R 68, 0 dBFS is +18 dBu"


def test_the_voice_comes_back_11_8_db_louder(session, reckoned):
    """Read: "From there to +4 dBu it is 11.8 dB."; "put −11.8 dB into the return"."""
    rendering = session.render()
    step = rendering.level("insert").peak_dbfs - rendering.level("trim").peak_dbfs
    reckoned("From there to +4 dBu it is 11.8 dB.", 11.8, 4 - MINUS_10_DBV_DBU, step, near=0.01, source=UNITS)
    mended = session.replaced({"insert/return_gain_db": -11.8}).render()
    read = mended.level("insert").peak_dbfs - rendering.level("insert").peak_dbfs
    reckoned("put −11.8 dB into the return", -11.8, MINUS_10_DBV_DBU - 4, read, source=UNITS)


@pytest.mark.parametrize(
    ("quote", "said", "on_paper", "read", "within"),
    [
        ("−10 dBV is 0.316 volts", 0.316, 10 ** (-10 / 20), decibels.volts_from_dbv(-10), 0.0005),
        ("and that is −7.8 dBu", -7.8, MINUS_10_DBV_DBU, decibels.dbu_from_dbv(-10), 0.05),
        ("0 dBu is 0.775 volts", 0.775, math.sqrt(0.6), decibels.volts_from_dbu(0), 0.0005),
    ],
)
def test_minus_10_dbv_is_0_316_volts_and_minus_7_8_dbu(quote, said, on_paper, read, within, reckoned):
    """Read: "−10 dBV is 0.316 volts, and that is −7.8 dBu"; set-up: "0 dBu is 0.775 volts"."""
    reckoned(quote, said, on_paper, read, within=within, near=1e-9, source=UNITS)


def noise_on_paper(device_dbu, into_db=0.0):
    """The hiss of the recording and the device's noise behind the insert, in dBFS."""
    device = device_dbu + 10 * math.log10(24 / 20) - 18
    return 10 * math.log10(10 ** ((paper.noise_floor_dbfs(TAKE) + into_db) / 10) + 10 ** (device / 10))


def test_both_ends_at_minus_10_dbv_cost_distance_to_the_devices_noise(session, reckoned):
    """Move: "The step is gone, but look at the dotted line. What did that cost?"."""
    high = session.replaced({"insert/receive": "+4 dBu"}).render().level("insert")
    low = session.replaced({"insert/send": "-10 dBV"}).render().level("insert")
    assert low.peak_dbfs == pytest.approx(high.peak_dbfs, abs=0.05)
    # With both ends 11.8 dB lower the device's noise comes back 11.8 dB higher.
    expected = noise_on_paper(-55), noise_on_paper(-55 + 4 - MINUS_10_DBV_DBU)
    assert (high.noise_dbfs, low.noise_dbfs) == pytest.approx(expected, abs=0.05)
    cost = expected[1] - expected[0] > 6, low.noise_dbfs - high.noise_dbfs > 6
    quote = "The step is gone, but look at the dotted line. What did that cost?"
    reckoned(quote, True, *cost, source=NOISE)


def test_turning_down_at_the_end_leaves_31_db_and_turning_up_before_gives_39(session, reckoned):
    """Read: "they stay 31 dB apart"; "Turning up before the device lifts the voice over its noise: 39 dB"."""

    def apart(**gains):
        level = noisy(session, **gains).level("fader")
        return level.rms_dbfs - level.noise_dbfs

    expected = {db: paper.rms_dbfs(TAKE) + db - noise_on_paper(-40, db) for db in (0, 10)}
    reckoned("they stay 31 dB apart", 31, expected[0], apart(fader=-10.0), within=0.5, near=0.05, source=NOISE)
    assert apart(fader=-10.0) == pytest.approx(apart(), abs=0.01)
    quote, read = "Turning up before the device lifts the voice over its noise: 39 dB", apart(trim=10.0, fader=-10.0)
    reckoned(quote, 39, expected[10], read, within=0.5, near=0.05, source=NOISE)


def test_10_db_more_leave_4_db_below_the_ceiling(session, reckoned):
    """Read: "the voice peaks at −14 dBFS, and 10 dB more leaves 4 dB"."""
    quote, peak = "the voice peaks at −14 dBFS, and 10 dB more leaves 4 dB", paper.peak_dbfs(TAKE)
    raised = noisy(session, trim=10.0).level("insert")
    # The device's noise, 40 dB below, moves a peak by less than 0.1 dB.
    read = noisy(session).level("insert").peak_dbfs
    reckoned(quote, -14, peak, read, within=0.5, near=0.1, source="published: AES17, the stem's own samples")
    reckoned(quote, 4, -(peak + 10), raised.headroom_db, within=0.5, near=0.1, source="derived: decibel arithmetic")
    assert raised.clipped == 0


def test_full_scale_is_18_db_above_the_alignment_level(reckoned):
    """Predict: "alignment level 0 dBu = −18 dBFS"; Read: "Full scale is 18 dB above it", "+4 dBu = −20 dBFS"."""
    source = "published: EBU R 68 and SMPTE RP 155"
    read = decibels.EBU_R68.dbfs_from_dbu(0)
    reckoned("alignment level 0 dBu = −18 dBFS", -18, 0 - 18, read, within=1e-9, source=source)
    reckoned("Full scale is 18 dB above it", 18, 0 - -18, -read, within=1e-9, source=source)
    reckoned("+4 dBu = −20 dBFS", -20, 4 - 24, decibels.SMPTE_RP155.dbfs_from_dbu(4), within=1e-9, source=source)


# Printed in NIOSH 98-126, table 1-1 (published), minutes.
PRINTED = {82: 960, 85: 480, 88: 240, 91: 120, 94: 60, 97: 30, 100: 15}


def test_hours_at_a_level_are_those_of_the_printed_table(lesson_text, reckoned):
    """Read: "At 94 dBA it is one hour, at 100 dBA a quarter of an hour"; the cell's formula."""
    assert "8 / 2 ** ((level_dba - 85) / 3)" in lesson_text(LESSON)
    minutes = {level_dba: 8 / 2 ** ((level_dba - 85) / 3) * 60 for level_dba in PRINTED}
    assert minutes == pytest.approx(PRINTED)
    source = "published: NIOSH 98-126, table 1-1"
    reckoned("At 94 dBA it is one hour", True, PRINTED[94] == 60, minutes[94] == pytest.approx(60), source=source)
    quote = "at 100 dBA a quarter of an hour"
    reckoned(quote, True, PRINTED[100] == 15, minutes[100] == pytest.approx(15), source=source)


def parallel(late=0, **changes):
    """The snare straight and through the lesson's loop, 48 samples late, added up."""
    snare = gl.read("media/snare.flac").between(9.5, 14.25)
    way = gl.OutboardInsert("EBU R 68", device_noise_dbu=-80)
    strips = (
        gl.Strip("straight", snare, (gl.Delay(late), gl.Fader())),
        gl.Strip("loop", snare, (way, gl.Delay(48, name="way back"), gl.Polarity(), gl.Fader())),
    )
    session = gl.Session(strips, main=gl.Bus("main", (gl.Fader(),)))
    return session.replaced({path.replace("_", "/", 1): value for path, value in changes.items()}).render()


@pytest.mark.holds_the_text
def test_the_loop_in_parallel_is_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'gl.read("media/snare.flac").between(9.5, 14.25)' in text
    assert 'gl.OutboardInsert("EBU R 68", device_noise_dbu=-80)' in text
    assert '(way, gl.Delay(48, name="way back"), gl.Polarity(), gl.Fader(muted=True))' in text


SNARE = paper.stem("snare", 9.5, 14.25)


def difference_dbfs(samples, gain_db=0.0):
    """The snare less itself, so many samples late and so many decibels louder."""
    other = np.append(np.zeros(samples), SNARE)[: len(SNARE)] * 10 ** (gain_db / 20)
    return paper.rms_dbfs(SNARE - other)


def test_a_late_loop_combs(reckoned):
    """Read: "A loop that comes back 1 ms late cancels 500 Hz, and then 1500, 2500 and so on"."""
    quote = "A loop that comes back 1 ms late cancels 500 Hz, and then 1500, 2500 and so on"
    expected = all(abs(1 + np.exp(-2j * np.pi * each * 0.001)) < 1e-9 for each in (500, 1500, 2500))
    went = parallel().at("main/fader").samples[:, 0]
    gain = np.abs(np.fft.rfft(went, 48_000 * 5))[:: 5 * 100] / np.abs(np.fft.rfft(SNARE, 48_000 * 5))[:: 5 * 100]
    holes, tops = gain[[5, 15, 25]], gain[[10, 20, 30]]
    reckoned(quote, True, expected, bool((holes < 0.02).all() and (tops > 1.98).all()), source="derived: 1 + exp(-iwt)")


def test_in_time_two_equal_snares_are_6_db_louder(reckoned):
    """Move: "Now both are 6 dB louder, and no frequency is gone."."""
    read = parallel(48).level("main/fader").rms_dbfs - parallel(48).level("straight/fader").rms_dbfs
    expected = 20 * math.log10(2)
    reckoned("Now both are 6 dB louder", 6, expected, read, within=0.05, near=0.01, source="derived: amplitudes add")


def test_what_the_null_leaves(reckoned):
    """Read: "with the snare 67 dB over it"; "leaves −39 dB of the snare"; "it falls by only 4 dB"."""
    turned = {"loop_polarity/inverted": True}
    null = parallel(48, **turned).level("main/fader").rms_dbfs
    device = -80 + 10 * math.log10(24 / 20) - 18
    # Two of 110 dB, A-weighted; A takes 2.05 dB off white noise in 20 kHz.
    converters = -110 + 2.05 + 10 * math.log10(2 * 24 / 20)
    loop = 10 * math.log10(10 ** (device / 10) + 10 ** (converters / 10))
    source = "derived: what is left is the noise of device and converters; their band; 0 dBFS is +18 dBu"
    snare = paper.rms_dbfs(SNARE)
    quote = "the noise of device and converters, with the snare 67 dB over it"
    reckoned(quote, 67, snare - loop, snare - null, within=0.5, near=0.05, source=source)
    silent = gl.Session.of(gl.Audio(np.zeros(48_000), 48_000), [gl.OutboardInsert("EBU R 68", device_noise_dbu=-1e3)])
    read = silent.render().at("insert")
    quote = "The two converters of a loop add noise of their own, −104 dBFS together."
    reckoned(quote, -104, converters, gl.measure("rms_dbfs", read), within=0.5, near=0.05, source=source)
    quote = "in the loop in parallel it is 0.8 dB of the noise"
    reckoned(quote, 0.8, loop - device, snare - device - (snare - null), within=0.05, near=0.05, source=source)
    # A tenth of a decibel leaves ten times more than the noise.
    louder = parallel(48, **turned, **{"loop_fader/gain_db": 0.1}).level("main/fader").rms_dbfs
    quote = "A tenth of a dB too much leaves −39 dB of the snare"
    expected = difference_dbfs(0, 0.1) - snare
    assert expected == pytest.approx(20 * math.log10(10**0.005 - 1), abs=1e-6)
    reckoned(quote, -39, expected, louder - snare, within=0.5, near=0.01, source="derived: difference")
    early = parallel(47, **turned).level("main/fader").rms_dbfs
    quote = "one sample too late, and it falls by only 4 dB"
    expected = snare - difference_dbfs(1)
    reckoned(quote, 4, expected, snare - early, within=0.2, near=0.01, source="derived: the stem's own samples")


def test_one_sample_too_late_leaves_1_khz_18_db_down(reckoned):
    """Read: "One sample too late, at 48 kHz, leaves 1 kHz only 18 dB down"."""
    tone = gl.tone(-20, 1000, seconds=1, rate_hz=48000).samples[:, 0]
    rest = 20 * np.log10(np.abs(tone[1:] - tone[:-1]).max() / np.abs(tone).max())
    quote = "One sample too late, at 48 kHz, leaves 1 kHz only 18 dB down"
    expected = 20 * np.log10(2 * np.sin(np.pi * 1000 / 48000))
    reckoned(quote, -18, expected, rest, within=0.5, near=0.05, source="derived: 2 sin(pi f t)")


def test_a_device_noise_reads_0_8_db_higher_in_24_khz(reckoned):
    """Read: "So −40 dBu reads −57.2 dBFS here, and not −58."."""
    silent = gl.Session.of(
        gl.Audio(np.zeros((48_000, 1)), 48_000), [gl.OutboardInsert("EBU R 68", device_noise_dbu=-40)]
    )
    read = silent.render().level("insert").noise_dbfs
    expected = -58 + 10 * np.log10(24_000 / 20_000)
    reckoned(
        "So −40 dBu reads −57.2 dBFS here, and not −58.", -57.2, expected, read, near=0.05, source="derived: bandwidth"
    )


def test_a_line_in_headphones_is_a_days_dose_in_19_seconds(reckoned):
    """On your own session: what +4 dBu does in headphones of 32 ohms and 100 dB SPL for 1 mW."""
    volts = math.sqrt(0.6) * 10 ** (4 / 20)
    level_db = 100 + 10 * math.log10(volts**2 / 32 / 0.001)
    source = "derived: Ohm's law; 0 dBu from ITU-R BS.645-2"
    reckoned("are 117 dB SPL", 117, level_db, within=0.5, source=source)
    seconds = 8 * 3600 / 2 ** ((level_db - 85) / 3)
    reckoned("for a whole day is used up in 19 seconds", 19, seconds, within=0.5, source="published: NIOSH 98-126, 1.1")
    reckoned("1.228 volts into 32 ohms are 47 mW, 16.7 dB over 1 mW", 16.7, level_db - 100, source=source)
