"""A chain measured from its far end: a known signal is sent through it, and what comes back tells what it does."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio
from gainlib.decibels import db_from_ratio
from gainlib.errors import GainError
from gainlib.meters.distortion import harmonics, thd_n_percent
from gainlib.meters.levels import rms_dbfs
from gainlib.text import dbfs, listed, signed, spaced

__all__ = ["RESPONSE_HZ", "RoundTrip", "SentSignal", "read_round_trip"]

Series = NDArray[np.float64]

TONE_HZ = 997.0
"""Not 1000 Hz: its periods fall on no round number of samples, as AES17 wants it (*from memory*)."""
RESPONSE_HZ = (40.0, 100.0, 315.0, 3150.0, 8000.0, 12_500.0, 16_000.0)
"""Where the frequency response is read, beside the tone itself."""

_QUIET_SECONDS = 1.0
_MARK_SECONDS = 0.25
_MARK_HZ = (300.0, 6000.0)
_GAP_SECONDS = 0.25
_TONE_SECONDS = 1.0
_SHORT_SECONDS = 0.4
_STEP_DB = 2.0
_FADE_SECONDS = 0.02
_EDGE_SECONDS = 0.08
_LATEST_SECONDS = 2.0
_ALIKE = 0.5
_COMPRESSED_DB = 0.3
_BENT_PERCENT = 1.0
_OVER_NOISE_DB = 10.0
_PIECES = 8
_TORN_DB = 0.5
LOST_SAMPLES = "the computer lost samples meanwhile: close what is busy, and measure again."
_ONE_CLOCK_PPM = 2.0


@dataclass(frozen=True)
class SentSignal:
    """What is sent: silence, a sweep that marks the time, a tone, tones for the response, and if asked steps upward.

    Parameters
    ----------
    rate_hz : int
        From 44 100 Hz on, so that all tones fit.
    level_dbfs : float
        The peak of the sweep and of the tones, from -60 to 0 dBFS.
    loudest_dbfs : float
        Steps of 2 dB go from the level up to here; none where it is not above it. At most 0 dBFS.

    Raises
    ------
    GainError
        For a rate or a level beyond those bounds.

    Examples
    --------
    >>> SentSignal(48000, -40.0, -40.0).audio.seconds
    6.25
    """

    rate_hz: int
    level_dbfs: float
    loudest_dbfs: float

    def __post_init__(self) -> None:
        if self.rate_hz < 44_100:
            raise GainError(f"rate_hz is {self.rate_hz}; the tones of a round trip need 44 100 Hz or more.")
        if not -60.0 <= self.level_dbfs <= 0.0 or not self.loudest_dbfs <= 0.0:
            raise GainError(
                f"the levels are {self.level_dbfs:g} and {self.loudest_dbfs:g} dBFS; give -60 to 0 dBFS, and at most 0."
            )

    @property
    def parts(self) -> tuple[tuple[str, float, float, float], ...]:
        """Each part in order: what it is, its frequency in Hz, its level in dBFS, how long it lasts in seconds."""
        found = [("quiet", 0.0, -math.inf, _QUIET_SECONDS), ("mark", 0.0, self.level_dbfs, _MARK_SECONDS)]
        found += [("gap", 0.0, -math.inf, _GAP_SECONDS), ("tone", TONE_HZ, self.level_dbfs, _TONE_SECONDS)]
        found += [("response", each, self.level_dbfs, _SHORT_SECONDS) for each in RESPONSE_HZ]
        steps = math.floor((self.loudest_dbfs - self.level_dbfs) / _STEP_DB + 1e-9)
        found += [("step", TONE_HZ, self.level_dbfs + _STEP_DB * (each + 1), _SHORT_SECONDS) for each in range(steps)]
        return (*found, ("end", 0.0, -math.inf, _QUIET_SECONDS - _MARK_SECONDS + 0.2))

    @property
    def audio(self) -> Audio:
        """The signal itself, mono."""
        return Audio(np.concatenate([self._made(*each) for each in self.parts]), self.rate_hz, "sent")

    @property
    def mark(self) -> Series:
        """The sweep alone."""
        return self._made(*self.parts[1])

    def _made(self, kind: str, frequency_hz: float, level_dbfs: float, seconds: float) -> Series:
        time = np.arange(round(seconds * self.rate_hz)) / self.rate_hz
        if kind == "mark":
            low, high = _MARK_HZ
            wave = np.sin(2.0 * math.pi * (low * time + (high - low) / (2.0 * seconds) * time**2))
        elif kind in ("tone", "response", "step"):
            wave = np.sin(2.0 * math.pi * frequency_hz * time)
        else:
            return np.zeros(len(time))
        edge = np.minimum(1.0, np.minimum(time, time[::-1]) / _FADE_SECONDS)
        return np.asarray(10.0 ** (level_dbfs / 20.0) * edge * wave)


@dataclass(frozen=True)
class RoundTrip:
    """What a chain did to a signal that was sent through it; `read_round_trip` gives it.

    Attributes
    ----------
    channel : int
        The channel in which the signal came back, from 0.
    gain_db : float
        What came back against what was sent, at 997 Hz.
    delay_samples : float
        How late it came back, to a fraction of a sample.
    delay_ms : float
        The same in milliseconds.
    inverted : bool
        Whether its polarity was turned.
    noise_dbfs : float
        What came back of silence, as an AES17 RMS level.
    thd_percent, thd_n_percent : float
        Harmonics of the tone, and everything beside it, at the level that was sent.
    clock_ppm : float
        How much faster the clock of the input runs than that of the output, in millionths; 0 for one device.
    response_db : tuple of (Hz, dB)
        The gain at each frequency against that at 997 Hz; frequencies that are lost in noise are left out.
    clips_at_dbfs : float or None
        The lowest level sent at which the chain bent the tone; None where no step did.
    level_dbfs, loudest_dbfs : float
        What was sent.

    Examples
    --------
    >>> sent = SentSignal(48000, -20.0, -20.0)
    >>> found = read_round_trip(sent, Audio(-0.5 * np.pad(sent.audio.samples, ((480, 0), (0, 0))), 48000))
    >>> round(found.gain_db, 2), round(found.delay_ms, 3), found.inverted
    (-6.02, 10.0, True)
    """

    channel: int
    gain_db: float
    delay_samples: float
    delay_ms: float
    inverted: bool
    noise_dbfs: float
    thd_percent: float
    thd_n_percent: float
    clock_ppm: float
    response_db: tuple[tuple[float, float], ...]
    clips_at_dbfs: float | None
    level_dbfs: float
    loudest_dbfs: float

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was found, a sentence for each thing."""
        turned = "The polarity is turned." if self.inverted else "The polarity is kept."
        late = f"{self.delay_ms:.2f} ms late ({self.delay_samples:.1f} samples)"
        said = [
            f"Gain at 997 Hz, channel {self.channel + 1}: {signed(self.gain_db, 2)}. {turned}",
            f"It comes back {late}, the computer's own time included.",
            self._noise_said,
            f"Distortion at {dbfs(self.level_dbfs)} sent: THD {self.thd_percent:.3f} %, "
            f"THD and noise {self.thd_n_percent:.3f} %.",
        ]
        if self.response_db:
            told = listed(f"{signed(gain_db)} at {each_hz:g} Hz" for each_hz, gain_db in self.response_db)
            said.append(f"Frequency response against 997 Hz: {told}.")
        if abs(self.clock_ppm) > _ONE_CLOCK_PPM:
            apart = f"{abs(self.clock_ppm):.0f} millionths apart"
            said.append(f"Output and input run on two clocks, {apart}: use one device for both.")
        if self.clips_at_dbfs is not None:
            reached = self.clips_at_dbfs + self.gain_db
            said.append(f"It clips from {dbfs(self.clips_at_dbfs)} sent on, where {dbfs(reached)} would come back.")
        elif self.loudest_dbfs > self.level_dbfs:
            said.append(f"Nothing clipped up to {dbfs(self.loudest_dbfs)} sent; with more gain at the input it would.")
        return tuple(said)

    @property
    def _noise_said(self) -> str:
        if not math.isfinite(self.noise_dbfs):
            return "No noise at all came back: something between input and page cuts it off."
        under = self.level_dbfs + self.gain_db - self.noise_dbfs
        return f"Noise: {dbfs(self.noise_dbfs)} RMS (AES17), {under:.0f} dB under the tone."


def read_round_trip(sent: SentSignal, heard: Audio, *, began: int = 0) -> RoundTrip:
    """What a chain does, read from what came back of a known signal.

    The sweep is found again by its correlation, which tells delay and polarity; levels are those of least-squares fits
    of each tone, so noise beside it does not count. The chain clips where a step comes back 0.3 dB short of the tone's
    gain, or with 1 % of harmonics.

    Parameters
    ----------
    sent : SentSignal
        What was sent.
    heard : Audio
        What was recorded meanwhile, at the same rate; of several channels the one that is most like it is read.
    began : int
        The sample of `heard` at which sending began.

    Returns
    -------
    RoundTrip
        Gain, delay, polarity, noise, distortion, response and where it clips.

    Raises
    ------
    GainError
        Where nothing came back, where only a part did, where samples were lost within a tone, and for another rate.

    References
    ----------
    *Derived*: the peak of a correlation lies at the delay, its sign is the polarity's; a parabola through it gives the
    fraction. IEC 60268-3 for the distortion figures. The two bounds of clipping are this course's own.

    Examples
    --------
    >>> sent = SentSignal(48000, -20.0, -20.0)
    >>> read_round_trip(sent, Audio(0.1 * sent.audio.samples, 48000)).sentences[0]
    'Gain at 997 Hz, channel 1: −20.00 dB. The polarity is kept.'
    """
    if heard.rate_hz != sent.rate_hz:
        back, out = spaced(heard.rate_hz), spaced(sent.rate_hz)
        raise GainError(f"what came back has {back} Hz and {out} Hz were sent; record at one rate.")
    rate_hz, samples = sent.rate_hz, np.asarray(heard.samples, dtype=np.float64)
    quiet = round(_QUIET_SECONDS * rate_hz)
    first = began + quiet
    latest = first + round(_LATEST_SECONDS * rate_hz)
    found = [_found_mark(samples[first : latest + len(sent.mark), each], sent.mark) for each in range(heard.channels)]
    channel = max(range(heard.channels), key=lambda each: abs(found[each][1]))
    delay, alike = found[channel]
    if abs(alike) < _ALIKE:
        raise GainError(
            "nothing of the signal came back: see that the cable leads from the output to the input that is chosen, "
            "and that neither is turned down."
        )
    own = samples[:, channel]
    places = {}
    at = began + round(delay)
    for index, (kind, frequency_hz, level_dbfs, seconds) in enumerate(sent.parts):
        length = round(seconds * rate_hz)
        edge = round(_EDGE_SECONDS * rate_hz)
        places[index] = (kind, frequency_hz, level_dbfs, own[at + edge : at + length - edge])
        at += length
    if at - round(sent.parts[-1][3] * rate_hz) > len(own):
        raise GainError("the recording ends before the signal does; record it again.")
    tone = next(each[3] for each in places.values() if each[0] == "tone")
    fitted = harmonics(tone, rate_hz)
    clock = fitted.fundamental_hz / TONE_HZ
    gain_db = float(db_from_ratio(fitted.amplitude[0, 0])) - sent.level_dbfs
    silence = own[max(0, began) : began + quiet + max(0, math.floor(delay))]
    noise_dbfs = float(rms_dbfs(silence[round(_EDGE_SECONDS * rate_hz) :])[0])
    response = []
    for kind, frequency_hz, level_dbfs, part in places.values():
        if kind == "response":
            turns_a_sample = frequency_hz * clock / rate_hz
            came = float(db_from_ratio(_fitted(part, turns_a_sample)))
            in_pieces = float(db_from_ratio(_fitted_in_pieces(part, turns_a_sample)))
            # What goes on with another phase from some place on fits worse as a whole; and so does noise alone.
            if in_pieces > max(came + _TORN_DB, noise_dbfs + _OVER_NOISE_DB):
                raise GainError(LOST_SAMPLES)
            if came > noise_dbfs + _OVER_NOISE_DB or not math.isfinite(noise_dbfs):
                response.append((frequency_hz, came - level_dbfs - gain_db))
    return RoundTrip(
        channel=channel,
        gain_db=gain_db,
        delay_samples=delay,
        delay_ms=1000.0 * delay / rate_hz,
        inverted=alike < 0.0,
        noise_dbfs=noise_dbfs,
        thd_percent=float(fitted.thd_percent[0]),
        thd_n_percent=float(thd_n_percent(tone, rate_hz)[0]),
        clock_ppm=1e6 * (1.0 / clock - 1.0),
        response_db=tuple(response),
        clips_at_dbfs=_clips_at([each for each in places.values() if each[0] == "step"], gain_db, clock, rate_hz),
        level_dbfs=sent.level_dbfs,
        loudest_dbfs=sent.loudest_dbfs,
    )


def _found_mark(samples: Series, mark: Series) -> tuple[float, float]:
    """How late the sweep begins, in samples and a fraction, and how like it is: 1 the same, -1 turned, 0 another."""
    if len(samples) < len(mark):
        return 0.0, 0.0
    size = 1 << (len(samples) + len(mark) - 1).bit_length()
    product = np.fft.irfft(np.fft.rfft(samples, size) * np.conj(np.fft.rfft(mark, size)), size)
    product = product[: len(samples) - len(mark) + 1]
    best = int(np.abs(product).argmax())
    power = float(np.dot(samples[best : best + len(mark)], samples[best : best + len(mark)]) * np.dot(mark, mark))
    if power == 0.0:
        return 0.0, 0.0
    shift = 0.0
    if 0 < best < len(product) - 1:
        before, here, after = (abs(float(each)) for each in product[best - 1 : best + 2])
        shift = 0.5 * (before - after) / (before - 2.0 * here + after)
    return best + shift, float(product[best]) / math.sqrt(power)


def _fitted(samples: Series, turns_a_sample: float) -> float:
    """The peak amplitude of a sine of known frequency, by least squares."""
    phase = 2.0 * math.pi * turns_a_sample * np.arange(len(samples))
    table = np.stack([np.cos(phase), np.sin(phase), np.ones(len(samples))], axis=1)
    found = np.linalg.lstsq(table, samples, rcond=None)[0]
    return float(math.hypot(found[0], found[1]))


def _fitted_in_pieces(samples: Series, turns_a_sample: float) -> float:
    """The amplitude with the mean power of those that are fitted to each of a few pieces, whatever their phases."""
    pieces = [_fitted(each, turns_a_sample) for each in np.array_split(samples, _PIECES)]
    return math.sqrt(float(np.mean(np.square(pieces))))


def _clips_at(
    steps: list[tuple[str, float, float, Series]], gain_db: float, clock: float, rate_hz: int
) -> float | None:
    """The lowest step that came back short of its level or bent."""
    for _, frequency_hz, level_dbfs, part in steps:
        found = harmonics(part, rate_hz, fundamental_hz=frequency_hz * clock)
        short_db = level_dbfs + gain_db - float(db_from_ratio(found.amplitude[0, 0]))
        if short_db > _COMPRESSED_DB or float(found.thd_percent[0]) > _BENT_PERCENT:
            return level_dbfs
    return None
