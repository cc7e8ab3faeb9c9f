"""Every situation that the sentence on top of a bench knows, with what it says there: a table to be read as a whole.

The levels are those of sines and squares with a sample on each crest, so what is said follows from the gains.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

import gainlib as gl
from gainlib.views import Aim, advise

RATE_HZ = 48_000
ROOM = Aim("peak_dbfs", "converter", most=-10, why="A shout needs 10 dB.")


def sine(level_dbfs, hertz=1000.0, seconds=1.0):
    """1000 times a second a crest with a sample on it, and as many troughs."""
    return 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * hertz / RATE_HZ * np.arange(round(seconds * RATE_HZ)))


def take(level_dbfs, *more):
    return gl.Audio(np.concatenate([sine(level_dbfs), *(sine(each) for each in more)]), RATE_HZ)


def chain(level_dbfs, *stages):
    return gl.Session.of(take(level_dbfs), stages, name="voice")


def recorded(preamp_db, trim_db=0.0, source_dbu=-30.0):
    """Full scale comes out of the source at -30 dBu; 0 dBFS is +18 dBu: the peak stands at -48 dBFS + gain."""
    stages = [
        gl.Source(source_dbu, noise_dbfs=-80.0),
        gl.Preamp(preamp_db, max_output_dbu=24.0),
        gl.Converter("EBU R 68", dynamic_range_db=math.inf),
        gl.Trim(trim_db),
    ]
    return gl.Session.of(take(0.0), stages, name="voice")


def shouted(preamp_db):
    """A rehearsed second at -10 dB of the file and a shout at 0 dB."""
    stages = [gl.Source(-30.0, noise_dbfs=-80.0), gl.Preamp(preamp_db, max_output_dbu=24.0), gl.Converter("EBU R 68")]
    return gl.Session.of(take(-10.0, 0.0), stages, name="voice")


def mix(level_dbfs, *main, strip=()):
    """Two strips with the same sine: 6.02 dB more in the main."""
    return gl.Session(
        tuple(gl.Strip(name, take(level_dbfs), (gl.Trim(), *strip)) for name in ("one", "two")),
        (),
        gl.Bus("main", tuple(main)),
    )


def driven(main_db):
    """A drum at -6 dBFS over a pad at -30 dBFS, into a limiter at -1 dBFS."""
    strips = gl.Strip("pad", take(-30.0), (gl.Trim(),)), gl.Strip("snare", take(-6.0), (gl.Trim(),))
    return gl.Session(strips, (), gl.Bus("main", (gl.Trim(main_db), gl.Limiter(-1.0, true_peak=False))))


def between_samples(level_dbfs):
    """A quarter of the rate with its crests half way between two samples: 3.01 dB over them."""
    signal = 10 ** (level_dbfs / 20) * np.tile([1.0, 1.0, -1.0, -1.0], 6000) * np.hanning(24000)
    return gl.Session.of(gl.Audio(signal, RATE_HZ), [gl.Trim()], name="tone")


def clipped_file():
    return gl.Session.of(gl.Audio(np.clip(1.5 * sine(0.0), -1.0, 1.0), RATE_HZ), [gl.Trim(-3.0)], name="old")


def two_strips():
    def strip(name, preamp_db):
        return gl.Strip(name, take(0.0), (gl.Source(-30.0), gl.Preamp(preamp_db), gl.Converter("EBU R 68")))

    return gl.Session((strip("voice", 49.0), strip("guitar", 50.0)))


def compressor(threshold_db, level_dbfs=-4.0, makeup_db=0.0):
    """4:1 from the first sample on: 3 dB turned down for 4 dB over the threshold."""
    press = gl.Compressor(threshold_db, 4.0, knee_db=0.0, attack_ms=0.0, makeup_db=makeup_db)
    return chain(level_dbfs, gl.Trim(), press)


FILE_24 = gl.StoredFile("fixed 24")
OVER = "Nothing cuts it off here, but a fixed-point file would."
INSIDE = "inside the session nothing cuts it off."

SITUATIONS = [
    # Nothing is aimed at: facts only, whatever the level is.
    ("a usual take", recorded(32.0), ["preamp/gain_db"], (),
     "Nothing clips. The converter has 16.0 dB left below full scale."),
    ("a soft take", recorded(10.0), ["preamp/gain_db"], (),
     "Nothing clips. The converter has 38.0 dB left below full scale."),
    ("a hot take", recorded(45.0), ["preamp/gain_db"], (),
     "Nothing clips. The converter has 3.0 dB left below full scale."),
    ("just below full scale", recorded(47.97), ["preamp/gain_db"], (),
     "Nothing clips. The converter has less than 0.1 dB left below full scale."),
    ("the preamp ends before the converter", gl.Session.of(
        take(0.0), [
            gl.Source(-30.0), gl.Preamp(42.0, max_output_dbu=14.0),
            gl.Converter("EBU R 68", dynamic_range_db=math.inf)], name="voice"),
     (), (), "Nothing clips. The preamp has 2.0 dB left below its ceiling."),
    ("a kick drum, or a finished programme", chain(-6.0, gl.Trim(0.0)), ["trim/gain_db"], (),
     "Nothing clips. The trim has 6.0 dB left below full scale."),
    ("the converter clips", recorded(50.5), ["preamp/gain_db"], (), "The converter clips 2000 times."),
    ("both clip", recorded(56.5), ["preamp/gain_db"], (), "The preamp clips 2000 times, the converter 2000 times."),
    ("mended after the converter", recorded(50.5, -12.0), ["trim/gain_db"], (),
     "The converter clips 2000 times. The trim lowers the level; the 2000 clipped runs of the converter stay."),
    ("several strips clip, the worst first", two_strips(), (), (),
     "The guitar's converter clips 2000 times. Also clipped: the voice's converter 2000 times."),
    ("the file came clipped", clipped_file(), ["trim/gain_db"], (),
     "The recording itself is clipped 2000 times. No control here mends that."),
    ("silence", gl.Session.of(gl.Audio(np.zeros(RATE_HZ), RATE_HZ), [gl.Trim()], name="voice"), (), (),
     "The take is silent. What the later stages carry is noise only."),
    ("muted", chain(-6.0, gl.Fader(muted=True)), ["fader/muted"], (), "Nothing comes out of the fader."),
    ("over full scale at the end", recorded(32.0, 20.0), ["trim/gain_db"], (),
     f"The trim reaches 4.0 dB over full scale. {OVER}"),
    ("over full scale inside", chain(-6.0, gl.Trim(9.0), gl.Fader(-10.0)), ["fader/gain_db"], (),
     f"Nothing clips. The trim reaches 3.0 dB over full scale; {INSIDE} The fader has 7.0 dB left below full scale."),
    ("over full scale between the samples", between_samples(-1.0), ["trim/gain_db"], (),
     "No sample clips, but the true peak after the trim is +2.0 dBTP: between the samples it is over full scale."),
    ("near it between the samples", between_samples(-5.0), ["trim/gain_db"], (),
     "Nothing clips. The trim has 5.0 dB left below full scale (true peak −2.0 dBTP)."),
    ("16 bits are heard", gl.Session.of(take(0.0), [
        gl.Source(-30.0, noise_dbfs=-120.0), gl.Preamp(5.0, input_noise_dbu=-150.0),
        gl.Converter("EBU R 68", bits=16)], name="voice"), (), (),
     re.compile(r"has 43\.0 dB left below full scale\. The converter adds \d+\.\d dB of noise of its own\.")),
    # The tone never pauses, so the noise that comes in cannot be read, and nothing is said of what adds to it.
    ("16 bits over a noise that nobody can read", gl.Session.of(take(0.0), [
        gl.Source(-30.0), gl.Preamp(5.0, input_noise_dbu=-150.0), gl.Converter("EBU R 68", bits=16)], name="voice"),
     (), (), "Nothing clips. The converter has 43.0 dB left below full scale."),
    # A mix
    ("a calm mix", mix(-20.0), ["one/trim/gain_db"], (),
     "Nothing clips. The main sum has 14.0 dB left below full scale."),
    ("the sum is over", mix(-2.0), ["one/trim/gain_db"], (), f"The main sum reaches 4.0 dB over full scale. {OVER}"),
    ("the main trims it back", mix(-2.0, gl.Trim(-20.0)), ["main/trim/gain_db"], (),
     f"Nothing clips. The main sum reaches 4.0 dB over full scale; {INSIDE} "
     "The main's trim has 16.0 dB left below full scale."),
    ("the main's file clips", mix(-2.0, FILE_24), ["one/trim/gain_db"], (), "The main's stored file clips 2000 times."),
    ("a limiter holds it", mix(-2.0, gl.Limiter(-1.0, true_peak=False)), (), (),
     f"Nothing clips. The main sum reaches 4.0 dB over full scale; {INSIDE} "
     "The main's limiter has 1.0 dB left below full scale. It turns down by up to 5.0 dB."),
    ("a delivered file", mix(-20.0, gl.Delivery("EBU R 128")), (), (),
     "Nothing clips. The file has a loudness of −23.0 LUFS and a true peak of −20.0 dBTP."),
    ("a strip over full scale in a calm mix", mix(-2.0, gl.Trim(-20.0), strip=(gl.Trim(5.5, name="boost"),)), (), (),
     f"Nothing clips. The main sum reaches 9.5 dB over full scale; {INSIDE} "
     "The main's trim has 10.5 dB left below full scale."),
    ("the same into a file", mix(-2.0, gl.Trim(-20.0), strip=(gl.Trim(5.5, name="boost"), FILE_24)), (), (),
     "The one's stored file clips 2000 times. Also clipped: the two's stored file 2000 times."),
    # Something is aimed at
    ("room is missing", recorded(45.0), ["preamp/gain_db"], ROOM,
     "Nothing clips. The converter peaks at −3.0 dBFS; the aim is at most −10 dBFS. A shout needs 10 dB. "
     "Lower the preamp by 7 dB."),
    ("room at the edge", recorded(38.0), ["preamp/gain_db"], ROOM,
     "Nothing clips. The converter peaks at −10.0 dBFS, as aimed."),
    ("a tenth over the edge", recorded(38.1), ["preamp/gain_db"], ROOM,
     "Nothing clips. The converter peaks at −9.9 dBFS; the aim is at most −10 dBFS. A shout needs 10 dB. "
     "Lower the preamp by 1 dB."),
    ("clipping goes before the aim", recorded(50.5), ["preamp/gain_db"], ROOM,
     "The converter clips 2000 times. Lower the preamp by 3 dB or more."),
    ("the trim cannot mend it", recorded(50.5), ["trim/gain_db"], ROOM, "The converter clips 2000 times."),
    ("the control ends first", recorded(52.0), [gl.Control("preamp/gain_db", low=50.0)], ROOM,
     "The converter clips 2000 times. Lower the preamp by 2 dB, as far as it goes."),
    ("a part of the take counts", shouted(45.0), ["preamp/gain_db"],
     Aim("peak_dbfs", "converter", -16, -14, seconds=(0.0, 0.9), of="the verse"),
     "Nothing clips. The converter has 3.0 dB left below full scale. "
     "The verse peaks at −13.0 dBFS; the aim is −16 to −14 dBFS. Lower the preamp by 2 dB."),
    ("the shout has passed", shouted(43.0), ["preamp/gain_db"],
     Aim("peak_dbfs", "converter", -16, -14, seconds=(0.0, 0.9), of="the verse"),
     "Nothing clips. The converter has 5.0 dB left below full scale. The verse peaks at −15.0 dBFS, as aimed."),
    ("too soft, the nearest gain", chain(-30.0, gl.Trim(), gl.Fader()), ["trim/gain_db", "fader/gain_db"],
     Aim("peak_dbfs", "fader", -26, -24),
     "Nothing clips. The fader peaks at −30.0 dBFS; the aim is −26 to −24 dBFS. Raise the fader by 5 dB."),
    ("the lesson says by which control", chain(-30.0, gl.Trim(), gl.Fader()), ["trim/gain_db", "fader/gain_db"],
     Aim("peak_dbfs", "fader", -26, -24, by="trim/gain_db"),
     "Nothing clips. The fader peaks at −30.0 dBFS; the aim is −26 to −24 dBFS. Raise the trim by 5 dB."),
    ("no control can do it", chain(-30.0, gl.Trim(), gl.Fader()), ["fader/gain_db"], Aim("peak_dbfs", "trim", -26, -24),
     "Nothing clips. The fader has 30.0 dB left below full scale. "
     "The trim peaks at −30.0 dBFS; the aim is −26 to −24 dBFS."),
    ("the compressor's few decibels", compressor(-20.0), ["trim/gain_db", "compressor/threshold_db"],
     Aim("gain_reduction_db", "compressor", 2.5, 3.5),
     "Nothing clips. The compressor has 16.0 dB left below full scale. It turns down by up to 12.0 dB; "
     "the aim is 2.5 to 3.5 dB. Raise the threshold of the compressor by about 12 dB."),
    ("the same by the trim alone", compressor(-20.0), ["trim/gain_db"],
     Aim("gain_reduction_db", "compressor", 2.5, 3.5),
     "Nothing clips. The compressor has 16.0 dB left below full scale. It turns down by up to 12.0 dB; "
     "the aim is 2.5 to 3.5 dB. Lower the trim by about 12 dB."),
    ("a compressor asleep", compressor(0.0), ["compressor/threshold_db"],
     Aim("gain_reduction_db", "compressor", 2.5, 3.5),
     "Nothing clips. The compressor has 4.0 dB left below full scale. It turns nothing down; "
     # 3 dB at 4:1 need 4 dB over the threshold: it comes down from 0 to −8 dBFS
     "the aim is 2.5 to 3.5 dB. Lower the threshold of the compressor by about 8 dB."),
    ("too much makeup, and no fader", compressor(-20.0, makeup_db=18.0), ["compressor/makeup_db"],
     Aim("peak_dbfs", "compressor", most=0),
     f"The compressor reaches 2.0 dB over full scale. {OVER} The compressor peaks at 2.0 dBFS; "
     "the aim is at most 0 dBFS. Lower the makeup of the compressor by 2 dB."),
    ("all faders together", mix(-8.0, strip=(gl.Fader(),)), ["one/fader/gain_db", "two/fader/gain_db"],
     Aim("peak_dbfs", "main/sum", most=-6),
     "Nothing clips. The main sum peaks at −2.0 dBFS; the aim is at most −6 dBFS. Lower every fader by 4 dB."),
    ("one strip drives the limiter", driven(12.0), ["pad/trim/gain_db", "snare/trim/gain_db", "main/trim/gain_db"],
     Aim("gain_reduction_db", "main/limiter", most=3, driver=True),
     # the sum of both stands at −5.47 dBFS; +12 dB is 6.53 dB over full scale, 7.53 dB over the ceiling
     f"Nothing clips. The main's trim reaches 6.5 dB over full scale; {INSIDE} The main's limiter has 1.0 dB left "
     "below full scale. It turns down by up to 7.5 dB; the aim is at most 3 dB. "
     "At its hardest moment the snare stands highest. Lower the snare's trim by about 5 dB."),
    ("an order", chain(-20.0, gl.Trim(), gl.Delivery("EBU R 128", loudness_lufs=-23.0)), ["delivery/loudness_lufs"],
     (Aim("loudness_lufs", "delivery", -18.5, -17.5), Aim("true_peak_dbtp", "delivery", most=-1)),
     "Nothing clips. The file has a loudness of −23.0 LUFS and a true peak of −20.0 dBTP. After the delivery the "
     "loudness is −23.0 LUFS; the aim is −18.5 to −17.5 LUFS. Raise the loudness of the delivery by 5 dB."),
    ("unity of a loop", chain(-20.0, gl.OutboardInsert("EBU R 68", receive="-10 dBV")), ["insert/return_gain_db"],
     Aim("loop_gain_db", "insert", -0.1, 0.1),
     # +4 dBu over −10 dBV (0.316 V, −7.78 dBu): 11.78 dB
     "Nothing clips. The insert has 8.2 dB left below full scale. Once round the insert the gain is +11.8 dB; "
     "the aim is −0.1 to 0.1 dB. Lower the return gain of the insert by 11.8 dB."),
]  # fmt: skip


def said_of(session, controls, aims):
    if any(str(each) == "delivery/loudness_lufs" for each in controls):
        controls = [gl.Control("delivery/loudness_lufs", low=-30.0, high=-9.0, step=0.5, label="Loudness")]
    return gl.bench(session, controls=controls, aim=aims).advice


@pytest.mark.parametrize(
    ("session", "controls", "aims", "said"), [each[1:] for each in SITUATIONS], ids=[each[0] for each in SITUATIONS]
)
def test_each_situation_is_told(session, controls, aims, said):
    told = str(said_of(session, controls, aims))
    assert told == said if isinstance(said, str) else said.search(told)


@pytest.mark.parametrize("preamp_db", range(43, 61, 3))
@pytest.mark.parametrize("signal", ["DC", "full-scale square", "one side"])
def test_the_step_out_of_clipping_is_enough_and_no_more(signal, preamp_db):
    samples = {
        "DC": np.full(RATE_HZ, 0.5),
        "full-scale square": 0.999 * np.tile(np.repeat([1.0, -1.0], 240), 100),
        "one side": np.column_stack((0.999 * sine(0.0), 0.1 * sine(0.0))),
    }[signal]
    session = recorded(float(preamp_db)).with_take(gl.Audio(samples, RATE_HZ))
    bench = gl.bench(session, controls=["preamp/gain_db"], aim=Aim("clipped", "converter", most=0))
    if not any(each.clipped for each in bench.rendering.levels):
        assert not bench.advice.step
        return
    amount = int(bench.advice.step.split(" by ")[1].split(" dB")[0])
    bench.move("preamp/gain_db", preamp_db - amount)
    assert not any(each.clipped for each in bench.rendering.levels)
    # A square's curve between the samples may still stand over full scale: that is told, and is no clipping.
    assert not bench.advice.trouble or bench.advice.facts.startswith("No sample clips")
    # One decibel less would stand on a ceiling or over it: nothing is left.
    bench.move("preamp/gain_db", preamp_db - amount + 1.0)
    assert bench.rendering.level("preamp").peak_dbfs > -0.02


def test_of_one_strip_alone_the_bench_may_be_asked():
    assert str(advise(recorded(32.0).render())) == "Nothing clips. The converter has 16.0 dB left below full scale."


@pytest.mark.parametrize(
    ("aim", "words"),
    [
        (lambda: Aim("peak_dbfs", "converter"), "give least, most or both"),
        (lambda: Aim("peak_dbfs", "converter", -10.0, -12.0), "give least, most or both, in order"),
        (lambda: Aim("peak_dbf", "converter", most=0), "did you mean peak_dbfs"),
        (lambda: Aim("peak_dbfs", "convertor", most=0), "did you mean converter"),
        (lambda: Aim("peak_dbfs", "converter", most=0, by="preamp/gain"), "did you mean preamp/gain_db"),
        (lambda: Aim("clipped", "converter", most=math.nan), "give least, most or both"),
    ],
)
def test_an_aim_that_cannot_be_is_refused_when_the_bench_is_made(aim, words):
    with pytest.raises(gl.GainError, match=words):
        gl.bench(recorded(32.0), controls=["preamp/gain_db"], aim=aim())


if __name__ == "__main__":
    for situation, session, controls, aims, _ in SITUATIONS:
        print(f"{situation}: {said_of(session, controls, aims)}")
