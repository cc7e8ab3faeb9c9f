"""The views of mixes, dynamics, rides, meters and files, on signals whose levels are known beforehand.

Expected levels are *derived* unless another source stands beside them: a sine of amplitude a stands at 20 log10 a, and
its AES17 RMS reads the same; unrelated powers add; a ratio of 4:1 leaves a quarter of what is above the threshold.
"""

from __future__ import annotations

import logging
import re

import numpy as np
import pytest

from gainlib import Audio, GainError, Session
from gainlib.flow import Bus, Send, Strip
from gainlib.html.figures import embedded
from gainlib.stages import (
    Compressor,
    Delivery,
    Fader,
    Limiter,
    Pan,
    Ride,
    Saturation,
    SoftClip,
    StoredFile,
    Target,
    Trim,
)
from gainlib.views import (
    Balance,
    CloseUp,
    CrestFactor,
    DrawnRide,
    Envelope,
    FaderTaper,
    GainReductionTrace,
    HarmonicSpectrum,
    LevelDiagram,
    LoudnessOverTime,
    MetersOverTime,
    Strips,
    SumByContributor,
    TransferCurve,
    WordLength,
    advise,
    view,
    views,
)

RATE_HZ = 48_000


def sine(level_dbfs, hertz=1000.0, seconds=1.0):
    """A sine that has a sample on each crest where 48 000 is a multiple of four times the frequency."""
    return 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * hertz / RATE_HZ * np.arange(round(seconds * RATE_HZ)))


def chain(samples, *stages):
    return Session.of(Audio(samples, RATE_HZ), stages, name="voice").render()


def one_of_each(samples):
    """A session in which every view finds what it draws."""
    take = Audio(samples, RATE_HZ)
    return Session(
        (
            Strip(
                "lead-voice",
                take,
                (Trim(2.0), Ride(((0.0, 0.0), (0.5, -3.0))), Compressor(-18.0), Saturation(3.0), Fader(-4.0)),
                "voices",
                (Send("hall", -10.0, True),),
            ),
            Strip("pad", take, (StoredFile("fixed 16"), Fader(-30.0))),
        ),
        (Bus("voices", (SoftClip(-0.5),)), Bus("hall", (Trim(-6.0),))),
        Bus("main", (Trim(0.0), Compressor(-12.0, 2.0), Limiter(-1.0), Delivery("EBU R 128"))),
    )


def eight_strips(level_dbfs=-20.0, main=()):
    """Eight unrelated sines, all at one level, four of them to a bus, all at the faders' 0 dB."""
    strips = tuple(
        Strip(f"strip-{number}", Audio(sine(level_dbfs, 400.0 + 100.0 * number), RATE_HZ), (Trim(), Fader()), to)
        for number, to in enumerate(["band"] * 4 + ["main"] * 4, start=1)
    )
    return Session(strips, (Bus("band"),), Bus("main", tuple(main)))


SIGNALS = {
    "silence": np.zeros(RATE_HZ),
    "DC": np.full(RATE_HZ, 0.5),
    "full-scale square": np.tile(np.repeat([1.0, -1.0], 240), 100),
    "one sample": np.array([0.25]),
    "stereo": np.column_stack((sine(-1.0), sine(-21.0))),
    "a whole session": None,
}


@pytest.fixture(scope="module", params=SIGNALS)
def mixed(request):
    samples = SIGNALS[request.param]
    return (eight_strips() if samples is None else one_of_each(samples)).render()


@pytest.mark.parametrize("name", sorted(views()))
def test_every_view_takes_every_signal_of_a_mix(name, mixed, caplog):
    shown = view(name)
    drawing = shown.figure(mixed)
    with caplog.at_level(logging.WARNING):
        assert embedded(drawing)["root_id"] == drawing.id
    assert [record.message for record in caplog.records] == []
    names = {model.name for model in drawing.references()}
    columns = shown.columns(mixed)
    for source, held in columns.items():
        assert source in names
        assert len({len(column) for column in held.values()}) == 1, source
        for column in held.values():
            assert isinstance(column, list) or np.isfinite(column).all(), source
            # a filled area of more than two points a pixel takes long to paint
            assert len(column) <= 1000
    assert drawing.hover, "no values on hover"
    for said in (shown.sentence(mixed), shown.heading(mixed)):
        assert said
        assert not re.search(r"nan|inf|None|(^|[^a-z])-|-\d", said), said
    assert shown.sentence(mixed).endswith(".")
    assert shown.heading(mixed).startswith(shown.title)


@pytest.fixture(scope="module")
def quiet_and_loud():
    session = one_of_each(sine(-6.0, seconds=0.5))
    quiet = session.render()
    louder = {"lead-voice/trim/gain_db": 20.0, "main/trim/gain_db": 18.0, "lead-voice/fader/gain_db": 3.0}
    return quiet, session.replaced(louder).render(after=quiet)


@pytest.mark.parametrize("name", sorted(views()))
def test_a_move_sends_columns_of_the_same_sources_and_no_axis_jumps(name, quiet_and_loud):
    quiet, loud = quiet_and_loud
    shown = view(name)
    before, after = shown.columns(quiet), shown.columns(loud)
    assert {source: set(held) for source, held in before.items()} == {
        source: set(held) for source, held in after.items()
    }
    ranges = [
        (each.x_range.start, each.x_range.end, each.y_range.start, each.y_range.end, each.height)
        for each in (shown.figure(quiet), shown.figure(loud))
    ]
    assert ranges[0] == ranges[1]
    if name not in ("loudness", "loudness gates"):  # the delivery brings both to one loudness
        assert shown.sentence(quiet) != shown.sentence(loud)


def test_the_envelope_says_levels_and_crest_before_and_behind():
    said = Envelope().sentence(chain(sine(-6.0), Trim(-6.5)))
    assert said == (
        "Before the trim: peak −6.0 dBFS, RMS −6.0 dBFS, crest factor 3.0 dB; "
        "after the trim: peak −12.5 dBFS, RMS −12.5 dBFS, crest factor 3.0 dB. "
        "The crest factor is peak − RMS + 3.0 dB."
    )
    columns = Envelope().columns(chain(sine(-6.0), Trim(-6.5)))["envelope"]
    assert columns["before"] == pytest.approx(np.full(600, -6.0), abs=0.1)
    assert columns["behind"] == pytest.approx(np.full(600, -12.5), abs=0.1)
    against_the_first = Envelope("limiter", before="trim")
    rendering = chain(sine(-6.0), Trim(4.0), Compressor(-60.0, 20.0), Limiter(-12.0, true_peak=False))
    assert against_the_first.sentence(rendering).startswith("After the trim: peak −2.0 dBFS")


def test_the_transfer_curve_says_what_the_working_point_becomes():
    # Half silence, half a sine at -8 dBFS: 12 dB over -20 dBFS at 4:1 leave 3 dB.
    samples = np.concatenate((np.zeros(RATE_HZ), sine(-8.0)))
    rendering = chain(samples, Compressor(-20.0, 4.0, knee_db=0.0))
    assert TransferCurve().sentence(rendering) == (
        "The threshold of the compressor stands at −20.0 dBFS; 50 % of the time is above it. The loudest tenth of the "
        "playing time comes in at −8.0 dBFS or more; at that level the curve gives −17.0 dBFS, 9.0 dB lower."
    )
    columns = TransferCurve().columns(rendering)
    assert columns["levels"]["percent"].sum() == pytest.approx(50.0)
    assert columns["point"]["in_db"].tolist() == pytest.approx([-8.0], abs=0.01)
    assert columns["point"]["out_db"].tolist() == pytest.approx([-17.0], abs=0.01)
    # A square of peak -8 dBFS reads 3.01 dB more as AES17 RMS: 15.01 dB over, 3.75 dB left.
    square = 10 ** (-8 / 20) * SIGNALS["full-scale square"]
    said = TransferCurve().sentence(chain(square, Compressor(-20.0, 4.0, knee_db=0.0, detector="rms")))
    assert "comes in at −5.0 dBFS RMS or more; at that level the curve gives −16.2 dBFS" in said
    limited = TransferCurve().sentence(chain(sine(-2.0), Limiter(-6.5)))
    assert limited.startswith("The ceiling of the limiter stands at −6.5 dBFS; 100 % of the time is above it.")
    assert limited.endswith("gives −6.5 dBFS, 4.5 dB lower.")
    # The saturation brings the recording's peak back to where it was.
    saturated = TransferCurve().sentence(chain(sine(-3.0), Saturation(6.0, low_end_db=0.0)))
    assert saturated.endswith("at that level the curve of the saturation gives −3.0 dBFS, unchanged.")
    with pytest.raises(GainError, match="voice/trim has no transfer curve; ask a compressor"):
        TransferCurve("trim").sentence(chain(sine(-2.0), Trim()))


def test_the_gain_reduction_says_how_much_when_and_how_often():
    # No attack and an endless release: from the first crest on 12 dB over at 4:1 are turned down by 9 dB.
    samples = np.concatenate((np.zeros(RATE_HZ), sine(-8.0)))
    rendering = chain(samples, Compressor(-20.0, 4.0, knee_db=0.0, attack_ms=0.0, release_ms=60_000.0))
    assert GainReductionTrace().sentence(rendering) == (
        "The compressor turns down by 9.0 dB at most, at 1.00 s, and by 9.0 dB on average while it works, "
        "50 % of the time."
    )
    columns = GainReductionTrace().columns(rendering)["trace"]
    assert columns["reduction_db"][columns["seconds"] < 0.99].max() == 0.0
    assert columns["reduction_db"][columns["seconds"] > 1.01] == pytest.approx(9.0, abs=0.05)
    deep = GainReductionTrace(deepest_db=6.0).columns(rendering)
    assert deep["trace"]["drawn_db"].max() == 6.0
    assert len(deep["beyond"]["seconds"]) > 0
    calm = GainReductionTrace().sentence(chain(sine(-30.0), Compressor(-20.0, knee_db=0.0)))
    assert calm == "The compressor never turns down by more than 0.1 dB: nothing reaches it."


def test_the_ride_stands_over_its_phrases_and_brings_them_together():
    take = np.concatenate((sine(-20.0), np.zeros(RATE_HZ // 2), sine(-30.0)))
    points = ((0.0, -10.0), (1.1, -10.0), (1.4, 0.0))
    rendering = chain(take, Ride(points))
    columns = DrawnRide().columns(rendering)
    assert list(zip(columns["ride"]["seconds"], columns["ride"]["gain_db"], strict=True)) == list(points)
    assert columns["line"]["seconds"].tolist() == [0.0, 0.0, 1.1, 1.4, 2.5]
    # The mean of the powers of -20 and -30 dB is 10 log10(1.1 / 2) = 2.6 dB below the louder.
    assert columns["before"]["drawn_db"] == pytest.approx([2.6, -7.4], abs=0.05)
    assert columns["behind"]["drawn_db"] == pytest.approx([-7.4, -7.4], abs=0.05)
    assert columns["before"]["left"] == pytest.approx([0.0, 1.5], abs=0.02)
    assert DrawnRide().sentence(rendering) == (
        "2 phrases before the ride, RMS −30.0 dBFS to −20.0 dBFS, 10.0 dB apart; "
        "after it −30.0 dBFS to −30.0 dBFS, 0.0 dB apart. The ride has 3 points, −10.0 dB to 0.0 dB."
    )
    assert DrawnRide().sentence(chain(take, Ride())).endswith("nothing is drawn yet.")
    # Of a fader only the ride counts here, not where it stands.
    ridden = DrawnRide("fader").columns(chain(take, Fader(-12.0, ride=points)))
    assert ridden["behind"]["drawn_db"] == pytest.approx([-7.4, -7.4], abs=0.05)
    with pytest.raises(GainError, match="trim holds no ride; name a Ride or a Fader"):
        DrawnRide("trim").columns(chain(take, Trim()))


def test_the_meters_agree_on_a_steady_sine_and_part_where_they_should():
    every = ("sample peak", "true peak", "PPM type I", "PPM type II", "VU", "short-term loudness")
    said = MetersOverTime(meters=every).sentence(chain(sine(-8.0, 1000.0, 4.0), Trim()))
    read = {name: float(value.replace("−", "-")) for name, value in re.findall(r"([A-Za-z\- ]+) (−?\d+\.\d) ", said)}
    for name in ("sample peak", "true peak", "PPM type I", "PPM type II"):
        assert read[next(key for key in read if key.endswith(name))] == pytest.approx(-8.0, abs=0.11), name
    # The pointer overshoots by 1.25 % before it rests, 0.11 dB (published: IEC 60268-17 allows 1 to 1.5 %).
    assert read[" VU"] == pytest.approx(-7.89, abs=0.06)
    # Published: BS.1770-5, a full-scale sine of 997 Hz in one channel reads -3.01 LUFS.
    assert read[" short-term loudness"] == pytest.approx(-11.0, abs=0.06)
    # Samples half-way up on either side of each crest: the crest is 3.01 dB above them.
    quarter = 0.5 * np.sin(np.pi / 4 + np.pi / 2 * np.arange(RATE_HZ)) * np.hanning(RATE_HZ)
    apart = MetersOverTime(meters=("sample peak", "true peak")).sentence(chain(quarter, Trim()))
    assert "sample peak −9.0 dBFS, true peak −6.0 dBTP" in apart
    # Published: IEC 60268-10, 10 ms of 5 kHz read 1 dB (type I) and 2.5 dB (type II) below the steady tone.
    burst = np.concatenate((sine(0.0, 5000.0, 0.01), np.zeros(RATE_HZ)))
    said = MetersOverTime(meters=("PPM type I", "PPM type II")).sentence(chain(burst, Trim()))
    read = [float(each.replace("−", "-")) for each in re.findall(r"(−?\d+\.\d) dBFS", said)]
    assert read == pytest.approx([-1.0, -2.5], abs=0.3)
    with pytest.raises(GainError, match="'PPM' is not a meter of this view"):
        MetersOverTime(meters=("PPM",))


def test_the_true_peak_so_far_never_falls_and_ends_at_the_whole():
    columns = MetersOverTime(meters=("true peak",)).columns(chain(sine(-8.0) * np.hanning(RATE_HZ), Trim()))
    run = columns["true peak"]["reading"]
    assert (np.diff(run) >= 0.0).all()
    assert run[-1] == pytest.approx(-8.0, abs=0.02)


def test_the_spectrum_numbers_the_harmonics_in_percent_and_decibels():
    # 1 % is -40 dB, 0.1 % is -60 dB; together sqrt(1² + 0.1²) = 1.005 %.
    tone = sine(-6.0, 500.0) + sine(-46.0, 1500.0) + sine(-66.0, 1000.0)
    view_ = HarmonicSpectrum()
    assert view_.sentence(chain(tone, Trim())) == (
        "After the trim: a tone of 500.0 Hz at −6.0 dBFS; harmonic 3 has 1.00 % (−40.0 dB), "
        "harmonic 2 has 0.10 % (−60.0 dB); all together are 1.00 % of it."
    )
    columns = view_.columns(chain(tone, Trim()))
    assert columns["marks"]["order"] == ["", "2", "3"]
    assert columns["marks"]["hz"] == pytest.approx([500.0, 1000.0, 1500.0])
    assert columns["table"]["percent"][:3] == ["%", "0.10", "1.00"]
    assert columns["table"]["decibels"][:4] == ["dB", "−60.0", "−40.0", "<−120"]
    # Each line stands at its own level, read from the picture.
    for hertz, level_dbfs in ((500.0, -6.0), (1500.0, -46.0), (1000.0, -66.0)):
        near = np.abs(np.log(columns["lines"]["hz"] / hertz)) < 0.01
        assert columns["lines"]["dbfs"][near].max() == pytest.approx(level_dbfs, abs=0.05)


@pytest.mark.parametrize("between", [0.0, 0.25, 0.5])
def test_a_tone_between_two_lines_of_the_spectrum_reads_its_level(between):
    # Published: D'Antona and Ferrero (2006), the flat-topped window's scallop loss is below 0.02 dB; no window has 3.9.
    columns = HarmonicSpectrum().columns(chain(sine(-6.0, 5000.0 + between), Trim()))
    near = np.abs(np.log(columns["lines"]["hz"] / 5000.0)) < 0.01
    assert columns["lines"]["dbfs"][near].max() == pytest.approx(-6.0, abs=0.02)


def test_a_clipped_sine_has_the_harmonics_of_its_fourier_series():
    # Derived: a sine of 1.5 cut at 1 bends at a = asin(2/3); its harmonics are the integrals of the flat-topped wave,
    # b1 = 1.1713 (+1.37 dB) and b3 = 0.1757, 15.00 % of it, by the midpoint rule from
    # b_n = 4/pi (1.5 integral(sin t sin nt, 0..a) + integral(sin nt, a..pi/2)).
    clipped = np.clip(1.5 * sine(0.0, 500.0), -1.0, 1.0)
    said = HarmonicSpectrum().sentence(chain(clipped, Trim()))
    assert said.startswith("After the trim: a tone of 500.0 Hz at +1.4 dBFS; harmonic 3 has 15.0 % (−16.5 dB)")


def test_the_spectrum_of_two_channels_is_that_of_the_louder_one():
    # A fifth of the left on the right, then the other way round: the same tone, 500 Hz with 1 % of 1500 Hz.
    tone = sine(-6.0, 500.0) + sine(-46.0, 1500.0)
    said = [
        HarmonicSpectrum().sentence(chain(np.column_stack(pair), Trim()))
        for pair in ((tone, tone / 5), (tone / 5, tone))
    ]
    assert said[0] == said[1]
    assert "a tone of 500.0 Hz at −6.0 dBFS; harmonic 3 has 1.00 % (−40.0 dB)" in said[1]


def test_noise_has_no_harmonics():
    noise = 0.1 * np.random.default_rng(3).standard_normal(RATE_HZ)
    view_ = HarmonicSpectrum()
    assert view_.columns(chain(noise, Trim()))["table"]["order"] == []
    assert "it is no steady tone" in view_.sentence(chain(noise, Trim()))


def test_a_chord_is_no_tone_also_where_one_note_is_the_strongest():
    # Two thirds of the power in 300 Hz and its third harmonic, a third in 400 Hz.
    chord = sine(-12.0, 300.0) + sine(-18.0, 900.0) + sine(-14.0, 400.0)
    assert "it is no steady tone" in HarmonicSpectrum().sentence(chain(chord, Trim()))


def test_the_loudness_is_held_against_the_target():
    # Published: BS.1770-5, a sine of 997 Hz reads 3.01 LUFS below its level in dBFS in one channel.
    on = LoudnessOverTime(target="EBU R 128").sentence(chain(sine(-19.99, 997.0, 4.0), Trim()))
    assert on.startswith(
        "After the trim: integrated −23.0 LUFS, on the −23.0 LUFS of EBU R 128 and within its ±0.2 LU; the true peak "
        "−20.0 dBTP is within its −1.0 dBTP; the loudest 3 s"
    )
    assert on.endswith("with −23.0 LUFS, the loudness range is 0.0 LU.")
    low = LoudnessOverTime(target="ATSC A/85").sentence(chain(sine(-25.99, 997.0, 1.0), Trim()))
    assert low == (
        "After the trim: integrated −29.0 LUFS, 5.0 LU below the −24.0 LUFS of ATSC A/85 and outside its ±2.0 LU; "
        "the true peak −26.0 dBTP is within its −2.0 dBTP."
    )
    # Both are told where only one is met: a sine of −0.5 dBFS peaks above −1 dBTP.
    high = LoudnessOverTime(target="EBU R 128").sentence(chain(sine(-0.5, 997.0, 4.0), Trim()))
    assert "; the true peak −0.5 dBTP is above its −1.0 dBTP;" in high
    # The session's own delivery says what is wanted.
    own = LoudnessOverTime("trim").sentence(
        chain(sine(-12.99, 997.0, 1.0), Trim(), Delivery("EBU R 128", loudness_lufs=-16.0))
    )
    assert "integrated −16.0 LUFS, on the −16.0 LUFS of the delivery" in own
    with pytest.raises(GainError, match="target of the loudness view is 'EBU'"):
        LoudnessOverTime(target="EBU")


def test_what_nobody_ordered_is_neither_drawn_nor_said():
    rendering = chain(sine(-19.99, 997.0, 4.0), Trim())
    plain = LoudnessOverTime()
    assert plain.sentence(rendering).startswith("After the trim: integrated −23.0 LUFS; the loudest 3 s end at ")
    columns = plain.columns(rendering)
    assert [len(column) for column in columns["band"].values()] == [0, 0, 0, 0]
    assert len(columns["key"]["text"]) == 3
    assert len(plain.figure(rendering).renderers) + 1 == len(
        LoudnessOverTime(target="EBU R 128").figure(rendering).renderers
    )
    assert "LUFS" not in str(advise(rendering))


def test_an_order_holds_at_its_tap_and_goes_before_what_a_delivery_is_set_to():
    order = Target("the order", -18.0, 0.5, -1.0)
    view_ = LoudnessOverTime(orders={"voice/trim": order})
    rendering = chain(sine(-15.99, 997.0, 1.0), Trim())
    assert "integrated −19.0 LUFS, 1.0 LU below the −18.0 LUFS of the order and outside its ±0.5 LU" in view_.sentence(
        rendering
    )
    columns = view_.columns(rendering)
    assert (columns["band"]["bottom"].tolist(), columns["band"]["top"].tolist()) == ([-18.5], [-17.5])
    assert columns["key"]["text"][3] == "the order −18.0 LUFS ±0.5 LU"
    delivered = chain(sine(-15.99, 997.0, 1.0), Trim(), Delivery("EBU R 128"))
    assert "on the −23.0 LUFS of EBU R 128" in view_.sentence(delivered)
    # A delivery that stands wrong is no order: −14 LUFS where −23 are asked for.
    loud = chain(sine(-15.99, 997.0, 1.0), Trim(), Delivery("EBU R 128", loudness_lufs=-14.0))
    asked = LoudnessOverTime(orders={"voice/delivery": Target("the order", -23.0, 0.2, -1.0)})
    assert "9.0 LU above the −23.0 LUFS of the order" in asked.sentence(loud)
    assert "of the order" not in LoudnessOverTime(orders={"voice/fader": order}).sentence(rendering)


def summed(first, second, *, stages=((), ()), sends=((), ())):
    takes = (Audio(first, RATE_HZ), Audio(second, RATE_HZ))
    strips = [
        Strip(name, take, (Trim(), *own), sends=going)
        for name, take, own, going in zip(("one", "two"), takes, stages, sends, strict=True)
    ]
    buses = (Bus("hall"),) if any(sends) else ()
    return Session(tuple(strips), buses, Bus("main")).render()


def test_the_sum_is_held_against_unrelated_signals():
    # Two unrelated sines of -12 dB: 3.01 dB more. The same sine twice: 6.02 dB, 3.01 dB more than unrelated.
    unrelated = SumByContributor().sentence(summed(sine(-12.0, 500.0), sine(-12.0, 750.0)))
    assert "RMS −9.0 dBFS, as much as unrelated signals give (−9.0 dBFS)" in unrelated
    same = SumByContributor().sentence(summed(sine(-12.0), sine(-12.0)))
    assert same == (
        "The main sum reaches peak −6.0 dBFS, RMS −6.0 dBFS, 3.0 dB more than unrelated signals give (−9.0 dBFS). "
        "“If unrelated” adds the powers, as for signals with nothing in common. "
        "RMS by contributor: one −12.0 dBFS, two −12.0 dBFS."
    )
    # With one of them silent there is nothing to compare it with.
    alone = SumByContributor().sentence(summed(sine(-12.0), 0.0 * sine(-12.0)))
    assert alone == "The main sum reaches peak −12.0 dBFS, RMS −12.0 dBFS; one signal alone goes in, one."
    opposed = SumByContributor().sentence(summed(sine(-12.0), -0.5 * sine(-12.0)))
    # A half is left: -18 dB; unrelated would be 10 log10(1.25) = 0.97 dB above -12 dB.
    assert "RMS −18.0 dBFS, 7.0 dB less than unrelated signals give (−11.0 dBFS)" in opposed


def test_the_sum_counts_each_side_by_itself():
    # Hard left and hard right never meet: what is expected on a side is one signal alone, not 3 dB more.
    rendering = summed(sine(-12.0, 500.0), sine(-12.0, 750.0), stages=((Pan(-1.0),), (Pan(1.0),)))
    left, right = (rendering.level(tap).rms_dbfs for tap in ("one/pan", "two/pan"))
    assert left == pytest.approx(right, abs=0.01)
    rows = SumByContributor().columns(rendering)["figures"]["rms_text"]
    assert len(set(rows)) == 1


def test_a_send_counts_with_its_gain_where_it_is_taken():
    # Before the fader the strip stands at -12 dB, the send takes 5 dB away.
    rendering = summed(
        sine(-12.0, 500.0),
        sine(-12.0, 750.0),
        stages=((Fader(-20.0),), (Fader(-3.0),)),
        sends=((Send("hall", -5.0, True),), (Send("hall", -5.0),)),
    )
    assert (
        SumByContributor("hall")
        .sentence(rendering)
        .endswith("RMS by contributor: one, send −17.0 dBFS, two, send −20.0 dBFS.")
    )
    with pytest.raises(GainError, match="'one' is a strip; name a bus or the main"):
        SumByContributor("one").sentence(rendering)


def test_eight_unrelated_strips_add_up_to_nine_decibels():
    # 10 log10 8 = 9.03 dB over -20 dB; the main hears the band as one signal of 10 log10 4 = 6.02 dB over.
    said = SumByContributor().sentence(eight_strips().render())
    assert "RMS −11.0 dBFS, as much as unrelated signals give (−11.0 dBFS)" in said
    assert "band −14.0 dBFS" in said
    assert "strip 5 −20.0 dBFS" in said


def test_the_fader_says_where_it_stands_and_how_fine_it_is():
    # The taper's marks (25 mm, -30 dB) and (10 mm, -60 dB): -40 dB lies at 20 mm, 2 dB a millimetre.
    rendering = chain(sine(-6.0), Fader(-40.0))
    assert FaderTaper().sentence(rendering) == (
        "The fader stands at −40.0 dB, 20.0 mm up: one millimetre there is 2.0 dB, at 0 dB it is 0.4 dB. "
        "Lower what comes before it by 40.0 dB, and it can stand at 0 dB."
    )
    assert FaderTaper().columns(rendering)["fader"]["mm"].tolist() == [20.0]
    assert FaderTaper().sentence(chain(sine(-6.0), Fader(-2.0))).endswith("0.4 dB, as fine as at 0 dB.")
    assert FaderTaper().sentence(chain(sine(-6.0), Fader(muted=True))) == "The fader is muted."
    mix = one_of_each(sine(-20.0)).render()
    assert (
        FaderTaper()
        .sentence(mix)
        .endswith("The coarsest of the others is the pad's fader at −30.0 dB, 2.0 dB a millimetre.")
    )
    with pytest.raises(GainError, match="trim is no fader; name a Fader"):
        FaderTaper("trim").sentence(chain(sine(-6.0), Trim()))


def test_the_word_length_says_its_noise_against_the_quietest_moment():
    # Derived: a sine over step²/12 is 6.02 bits + 1.76 dB, 98.1 dB at 16 bit and 146.3 dB at 24; dither takes 4.8 dB.
    take = np.concatenate((sine(-60.0), sine(-6.0), sine(-20.0)))
    view_ = WordLength()
    assert view_.sentence(chain(take, Trim())) == (
        "After the trim the quietest moment lies at −60.0 dBFS, 33.3 dB above the noise of 16 bit with dither, which "
        "it hides. The steps make 16 bit, dithered −93.3 dBFS, 16 bit −98.1 dBFS, 24 bit −146.3 dBFS (RMS over the "
        "whole band)."
    )
    assert "39.7 dB below the noise of 16 bit with dither" in view_.sentence(chain(sine(-133.0), Trim()))
    # Of a file the sentence is about its own word length, and about what enters it, also with a gain behind.
    for coding, dither, apart in (("fixed 24", False, 86.3), ("fixed 24", True, 81.5), ("fixed 16", False, 38.1)):
        said = view_.sentence(chain(take, StoredFile(coding, dither=dither), Trim(20.0)))
        with_ = "with" if dither else "without"
        wanted = f"{apart} dB above the noise of {coding.split()[1]} bit {with_} dither"
        assert said.startswith(f"Before the stored file the quietest moment lies at −60.0 dBFS, {wanted}")
    columns = view_.columns(chain(take, Trim()))
    # Derived: the octave around 1 kHz is 704.6 Hz of 24 000 Hz wide, 15.32 dB below the whole.
    at = columns["16 bit, dithered"]["middle"].index("1 kHz")
    assert columns["16 bit, dithered"]["drawn"][at] == pytest.approx(-93.32 - 15.32, abs=0.02)
    assert columns["quietest"]["drawn"][at] == pytest.approx(-60.0, abs=0.05)
    # Shaped, the octave around 4 kHz has the filter's gap in it: the mean of (2 cos w - 2 cos 30°)² from 21.1° to 42.2°
    # (IEC 61260-1, base ten: from 10^3.45 to 10^3.75 Hz of 48 000).
    shaped = view_.columns(chain(take, StoredFile("fixed 16", dither=True, noise_shaping=True)))
    w = 2 * np.pi * np.linspace(10**3.45, 10**3.75, 10_001) / 48_000
    gap = 10 * np.log10(((2 * np.cos(w) - 3**0.5) ** 2).mean())
    at = shaped["16 bit, dithered"]["middle"].index("4 kHz")
    assert shaped["16 bit, dithered"]["drawn"][at] == pytest.approx(-93.32 - 9.32 + gap, abs=0.05)
    assert "16 bit, dithered, shaped −86.3 dBFS" in shaped["key"]["text"]


def test_the_balance_hears_a_strip_while_it_plays():
    take = np.concatenate((sine(-12.0), np.zeros(3 * RATE_HZ)))
    session = Session(
        (
            Strip("always", Audio(sine(-15.0, 1000.0, 4.0), RATE_HZ), (Trim(), Fader(-2.5))),
            Strip("seldom", Audio(take, RATE_HZ), (Trim(),)),
            Strip("never", Audio(np.zeros(RATE_HZ), RATE_HZ), (Trim(),)),
        )
    )
    assert Balance().sentence(session.render()) == (
        # In the order of the session: who is loudest is for ears and a loudness meter.
        "RMS while playing: always −17.5 dBFS, seldom −12.0 dBFS. They lie 5.5 dB apart. Not heard: never."
    )
    figures = Balance().columns(session.render())["figures"]
    assert figures["peak_text"] == ["−17.5", "−12.0", "−∞"]


def test_the_strip_in_trouble_stands_first():
    session = eight_strips()
    calm = Strips(buses=False)
    assert calm.columns(session.render())["names"]["text"][:2] == ["strip 1", "strip 2"]
    strips = list(session.strips)
    strips[5] = Strip("strip-6", strips[5].take, (Trim(23.0), StoredFile("fixed 24"), Fader()))
    strips[2] = Strip("strip-3", strips[2].take, (Trim(18.5), StoredFile("fixed 24"), Fader()), "band")
    rendering = Session(tuple(strips), session.buses, session.main).render()
    columns = calm.columns(rendering)
    assert columns["names"]["text"] == [
        "strip 6",
        "strip 1",
        "strip 2",
        "strip 3",
        "strip 4",
        "strip 5",
        "strip 7",
        "strip 8",
    ]
    # 1 kHz at 3 dB over: each of its 2000 half waves is cut once.
    assert columns["trouble"]["text"] == ["▼ 2000 clips"]
    assert calm.sentence(rendering) == (
        "In trouble: strip 6 clips 2000 times. Of the others the least room is left by strip 3, 1.5 dB at its stored "
        "file."
    )
    assert calm.figure(rendering).height == calm.figure(session.render()).height


def test_the_band_runs_through_the_bus_and_the_main():
    rendering = one_of_each(sine(-10.0)).render()
    view_ = LevelDiagram("lead-voice")
    assert view_.taps(rendering) == (
        "lead-voice/trim",
        "lead-voice/ride",
        "lead-voice/compressor",
        "lead-voice/saturation",
        "lead-voice/fader",
        "voices/sum",
        "voices/soft clip",
        "main/sum",
        "main/trim",
        "main/compressor",
        "main/limiter",
        "main/delivery",
    )
    columns = view_.columns(rendering)
    assert [each for each in columns["stages"]["text"] if each.endswith("sum")] == ["Voices sum", "Main sum"]
    assert columns["dividers"]["x"].tolist() == [4.5, 6.5]
    assert columns["thresholds"]["level"].tolist() == [-18.0, -12.0]
    assert columns["thresholds"]["left"] == pytest.approx([2 - 0.42, 8 + 1 - 0.42])
    assert view_.heading(rendering) == "Level from source to file, lead voice"
    assert LevelDiagram().taps(eight_strips().render())[-1] == "main/sum"
    assert LevelDiagram("strip-7").taps(eight_strips().render()) == ("strip-7/trim", "strip-7/fader", "main/sum")


def test_the_close_up_tells_what_a_ceiling_took_only_of_plain_gains():
    cut = CloseUp().columns(chain(sine(-2.0), Trim(6.0), StoredFile("fixed 24")))["moment"]
    assert np.abs(cut["given"]).max() == pytest.approx(10 ** (4 / 20), abs=1e-3)
    assert np.abs(cut["came"]).max() == pytest.approx(1.0, abs=1e-3)
    held = CloseUp().columns(chain(sine(-2.0), Trim(6.0), Limiter(-1.0)))["moment"]
    assert held["given"].tolist() == held["came"].tolist()


def test_a_saturation_says_how_much_it_distorts():
    # The harmonics of tanh(kx) over the whole, read off one period; k = 1.91 has a slope of 6 dB at zero.
    beat = np.linspace(0.0, 2 * np.pi, 48_000, endpoint=False)
    lines = np.abs(np.fft.rfft(np.tanh(1.9100 * np.sin(beat))))
    percent = 100 * np.sqrt(np.sum(lines[2:] ** 2) / np.sum(lines[1:] ** 2))
    tone = Audio(np.sin(100 * beat), 48_000)
    driven = Session.of(tone, [Saturation(drive_db=6.0, low_end_db=0.0)], name="tone").render()
    assert LevelDiagram().columns(driven)["room"]["text"] == [f"{percent:.1f} % distortion"]
    assert f", {percent:.1f} % distortion" in LevelDiagram().sentence(driven)
    idle = Session.of(tone, [Saturation(drive_db=0.0)], name="tone").render()
    assert LevelDiagram().columns(idle)["room"]["text"] == []


def test_a_limiter_that_works_says_how_far_it_turns_down():
    # 2 dB under full scale against a ceiling of -6 dB.
    rendering = chain(sine(-2.0), Trim(), Limiter(-6.0, true_peak=False))
    assert LevelDiagram().columns(rendering)["room"]["text"] == ["4 dB down"]
    assert "Limiter: peak −6.0 dBFS" in LevelDiagram().sentence(rendering)
    assert ", 4 dB down" in LevelDiagram().sentence(rendering)
    assert Strips().columns(rendering)["room"]["text"] == ["4 dB down"]
    assert Strips().sentence(rendering) == (
        "Nothing clips. The highest peak comes out of voice, −6.0 dBFS. The limiter turns down by up to 4 dB."
    )


def test_the_waveform_of_a_sum_does_not_speak_of_a_recording():
    from gainlib.views import Waveform

    clipped = np.clip(2 * sine(-6.0), -0.5, 0.5)
    said = Waveform().sentence(summed(clipped, np.zeros(RATE_HZ)))
    assert said == "The peaks after the main sum reach −6.0 dBFS; it has 2000 flat tops."


@pytest.mark.parametrize("main_db", range(-20, 21, 4))
def test_words_of_a_long_band_touch_no_line_and_not_each_other(main_db):
    view_ = LevelDiagram("lead-voice")
    rendering = one_of_each(sine(-6.0, seconds=0.2)).replaced({"main/trim/gain_db": float(main_db)}).render()
    drawing, columns = view_.figure(rendering), view_.columns(rendering)
    per_px = (drawing.y_range.end - drawing.y_range.start) / (view_.height - 12)
    band = columns["band"]
    for x, y, text in zip(*(columns["words"][each] for each in ("x", "y", "text")), strict=True):
        assert 0 < x < len(view_.taps(rendering)) - 1, text  # none reaches out of the picture
        for near in (int(x) - 1, int(x), int(x) + 1):
            for line in ("peak", "rms", "noise"):
                assert abs(y - band[line][2 * near]) > 5 * per_px, (text, line)
        for left, level in zip(columns["thresholds"]["left"], columns["thresholds"]["level"], strict=True):
            assert abs(left + 0.42 - x) > 1 or abs(y - level) > 5 * per_px, text
        for other_x, other_y, other in zip(*(columns["words"][each] for each in ("x", "y", "text")), strict=True):
            assert other == text or abs(other_x - x) > 1 or abs(other_y - y) > 12 * per_px, (text, other)


def test_the_crest_factor_follows_from_peak_and_rms_before_a_stage_and_after_it():
    # Derived: half a sine's samples at -6 dBFS, half at nothing: the plain RMS lies 3.01 + 3.01 dB below the peak.
    tone = sine(-6.0, 997.0) * (np.arange(RATE_HZ) < RATE_HZ // 2)
    view_ = CrestFactor()
    rendering = chain(tone, Trim(-6.0), SoftClip(0.0))
    assert view_.heading(rendering) == "Crest factor after the soft clip"
    assert view_.sentence(rendering) == (
        "After the soft clip the crest factor is 6.0 dB: peak −12.0 dBFS, less RMS −15.0 dBFS, plus 3.0 dB, since "
        "the RMS is read that much higher than the plain one; before the soft clip it is 6.0 dB."
    )
    rows = view_.columns(rendering)["rows"]
    assert rows["peak"] == pytest.approx([-12.0, -12.0], abs=0.02)
    assert rows["rms"] == pytest.approx([-15.01, -15.01], abs=0.02)
    assert rows["peak"] - rows["plain"] == pytest.approx([6.02, 6.02], abs=0.02)
    assert rows["crest"] == ["6.0 dB", "6.0 dB"]


def test_the_crest_factor_is_that_of_the_stage_that_changes_it_last():
    tone = sine(-6.0, 997.0)
    assert CrestFactor().tap_of(chain(tone, Saturation(6.0), Fader(-6.0))) == "voice/saturation"
    assert CrestFactor().tap_of(chain(tone, Limiter(-6.0), Delivery())) == "voice/delivery"
    assert CrestFactor().tap_of(chain(tone, Trim(), Fader())) == "voice/fader"


def test_of_two_channels_the_larger_crest_factor_is_shown_as_the_measure_has_it():
    # A full sine on the left, the same for half of the time on the right: 3.0 and 6.0 dB.
    left = sine(-6.0, 997.0)
    both = np.column_stack((left, left * (np.arange(RATE_HZ) < RATE_HZ // 2)))
    assert "the crest factor is 6.0 dB" in CrestFactor().sentence(chain(both, Trim()))


def test_silence_has_no_crest_factor():
    assert CrestFactor().sentence(chain(np.zeros(RATE_HZ), Trim())) == "After the trim: silence."
    columns = CrestFactor().columns(chain(np.zeros(RATE_HZ), Trim()))
    assert columns["figures"]["text"] == ["silence", "silence"]
