"""Samples with their rate, and the only place that reads or writes sound files."""

from __future__ import annotations

import math
import os
import tempfile
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.errors import GainError

__all__ = ["Audio", "bundled", "bundled_folder", "read", "tone", "write"]

Samples = NDArray[np.floating[Any]]


@dataclass(frozen=True, eq=False)
class Audio:
    """Samples and the rate they were taken at; full scale is ±1.0.

    `samples` is given as float `(n,)` or `(n, channels)` and kept as a read-only `(n, channels)` array of float32 or
    float64; `rate_hz` is a whole number of samples a second. An empty recording, integers, samples that are not
    finite, and a rate below 1 Hz are refused with a GainError.

    >>> tone = Audio(np.zeros(48000), 48000)
    >>> tone.samples.shape, tone.channels, tone.seconds
    ((48000, 1), 1, 1.0)
    """

    samples: Samples
    rate_hz: int
    name: str = ""

    def __post_init__(self) -> None:
        rate: object = self.rate_hz
        if isinstance(rate, bool) or not isinstance(rate, int | np.integer) or rate < 1:
            raise GainError(f"rate_hz is {rate!r}; it must be a whole number of samples a second, 1 or above.")
        object.__setattr__(self, "samples", checked_samples(self.samples, self.name or "samples"))
        object.__setattr__(self, "rate_hz", int(rate))

    def __eq__(self, other: object) -> bool:
        """Whether the samples and the rate are the same; the name does not count."""
        if not isinstance(other, Audio):
            return NotImplemented
        return self is other or (self.rate_hz == other.rate_hz and np.array_equal(self.samples, other.samples))

    def __hash__(self) -> int:
        return hash((self.rate_hz, self.samples.shape))

    @property
    def channels(self) -> int:
        """How many channels there are."""
        return int(self.samples.shape[1])

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return len(self.samples) / self.rate_hz

    def between(self, start_seconds: float, end_seconds: float) -> Audio:
        """The part from one moment to another, to the nearest sample.

        Raises GainError if the part is empty or reaches outside.

        >>> Audio(np.zeros(48000), 48000).between(0.25, 0.5).seconds
        0.25
        """
        if not 0.0 <= start_seconds < end_seconds <= self.seconds + 0.5 / self.rate_hz:
            raise GainError(
                f"the part from {start_seconds:g} s to {end_seconds:g} s was asked for; "
                f"this recording runs from 0 s to {self.seconds:g} s."
            )
        start, end = round(start_seconds * self.rate_hz), round(end_seconds * self.rate_hz)
        return Audio(self.samples[start:end], self.rate_hz, self.name)

    def __repr__(self) -> str:
        channels = {1: "mono", 2: "stereo"}.get(self.channels, f"{self.channels} channels")
        return f"<{self.name or 'audio'}: {self.seconds:.2f} s, {channels}, {self.rate_hz} Hz>"


def tone(level_dbfs: float, frequency_hz: float, *, seconds: float, rate_hz: int) -> Audio:
    """A steady sine, as one sends through equipment to set its levels; it begins at zero and is mono.

    The level is its peak in dBFS, and its AES17 RMS too. Raises GainError for a level above full scale, a frequency
    of half the rate or more, and a length of no sample or more than ten minutes.

    >>> tone(-18.0, 1000, seconds=0.5, rate_hz=48000).seconds
    0.5
    """
    if not -200.0 <= level_dbfs <= 0.0:
        raise GainError(f"level_dbfs is {level_dbfs}; it must be from -200 to 0 dBFS.")
    made = Audio(np.zeros(1), rate_hz)  # refuses a rate that cannot be
    if not 0.0 < frequency_hz < made.rate_hz / 2:
        raise GainError(f"frequency_hz is {frequency_hz}; it must be above 0 and below half the rate of {rate_hz} Hz.")
    if not 0.5 / made.rate_hz <= seconds <= 600.0:
        raise GainError(f"seconds is {seconds}; it must hold one sample at least and be at most 600 s.")
    turns = np.arange(round(seconds * made.rate_hz)) * (frequency_hz / made.rate_hz)
    return Audio(10.0 ** (level_dbfs / 20.0) * np.sin(2.0 * math.pi * turns), rate_hz, "tone")


def checked_samples(samples: ArrayLike, name: str) -> Samples:
    """The samples as a read-only `(n, channels)` float array, or a GainError that says what is wrong with them.

    >>> checked_samples([0.0, 0.5], "take").shape
    (2, 1)
    """
    array: NDArray[Any] = np.asarray(samples)
    if array.dtype not in (np.float32, np.float64):
        raise GainError(f"{name} holds {array.dtype} values; give float samples, full scale ±1.0.")
    if array.ndim not in (1, 2):
        raise GainError(f"{name} has {array.ndim} dimensions; give (n,) for mono or (n, channels).")
    array = array[:, None] if array.ndim == 1 else array
    if array.shape[1] == 0:
        raise GainError(f"{name} has zero channels; a recording needs at least one.")
    if array.shape[0] == 0:
        raise GainError(f"{name} is empty; a recording needs at least one sample.")
    finite = np.isfinite(array)
    if not finite.all():
        at, channel = np.argwhere(~finite)[0]
        raise GainError(
            f"{name} holds {array[at, channel]} at sample {at}, channel {channel + 1}; every sample must be a number."
        )
    array = array.view()
    array.flags.writeable = False
    return array


def bundled_folder(kind: str) -> Path:
    """The folder of the course material of that kind: "lessons", "exercises" or "media".

    In an installed package it lies inside; in a source checkout at the top level.

    >>> bundled_folder("media").name
    'media'
    """
    package = Path(str(resources.files("gainlib")))
    inside = package / "_course" / kind
    folder = inside if inside.is_dir() else package.parent / kind
    if not folder.is_dir():
        raise GainError(f"the course's {kind} folder is missing from {package}; install gainlib again.")
    return folder


def bundled(path: str | os.PathLike[str]) -> Path:
    """Where a file is: as the path says, else among the course's own stems when it starts with `media/`.

    >>> bundled("media/README.md").name
    'README.md'
    """
    here = Path(path)
    if not here.exists() and not here.is_absolute() and here.parts[:1] == ("media",) and ".." not in here.parts:
        return bundled_folder("media").joinpath(*here.parts[1:])
    return here


def read(path: str | os.PathLike[str]) -> Audio:
    """A sound file as Audio: any format that libsndfile reads, samples as float64, full scale ±1.0.

    A path such as `media/lead-voice.flac` that is not there is looked up among the course's own stems. Raises
    GainError when the file is missing, a folder, empty, not a sound file, truncated, or holds no finite samples.

    >>> read("media/lead-voice.flac").rate_hz
    48000
    """
    import soundfile

    where = bundled(path)
    if not where.exists():
        raise GainError(f"{path} is not there; check the name and the folder you are in ({Path.cwd()}).")
    if where.is_dir():
        raise GainError(f"{path} is a folder; name one sound file in it.")
    size = where.stat().st_size
    if size == 0:
        raise GainError(f"{path} is empty (0 bytes); copy or export it again.")
    try:
        with soundfile.SoundFile(where) as sound:
            if sound.channels < 1:
                raise GainError(f"{path} has zero channels; a recording needs at least one.")
            promised = _promised_bytes(where)
            samples = sound.read(dtype="float64", always_2d=True)
            frames, rate_hz = sound.frames, int(sound.samplerate)
    except (soundfile.LibsndfileError, RuntimeError, OSError) as fault:
        raise GainError(
            f"{path} could not be read as a sound file ({_reason(fault)}); export it as WAV or FLAC."
        ) from fault
    if promised > size or len(samples) < frames:
        raise GainError(f"{path} is truncated: it holds less than its own header says; copy or export it again.")
    if len(samples) == 0:
        raise GainError(f"{path} holds no samples; copy or export it again.")
    return Audio(checked_samples(samples, str(path)), rate_hz, where.stem)


def write(path: str | os.PathLike[str], audio: Audio, *, subtype: str | None = None, overwrite: bool = False) -> Path:
    """Audio into a sound file, whole or not at all; gives the path back.

    The ending chooses the format (`.wav`, `.flac`, `.ogg`, ...); `subtype` the coding as libsndfile names it, by
    default 24-bit PCM where the format has it. A fixed-point file cannot hold more than full scale, so samples beyond
    ±1.0 are refused there rather than clipped unseen. Raises GainError for an ending or coding that libsndfile does
    not know, a folder that is missing or read-only, and a file that is there already unless `overwrite` is set.

    >>> import tempfile
    >>> folder = tempfile.mkdtemp()
    >>> write(f"{folder}/tone.wav", Audio(np.zeros(480), 48000)).name
    'tone.wav'
    """
    import soundfile

    where = Path(path)
    kind = where.suffix.removeprefix(".").upper()
    kind = {"AIF": "AIFF", "OGA": "OGG", "OPUS": "OGG"}.get(kind, kind)
    if kind not in soundfile.available_formats():
        raise GainError(f"{path} ends in {where.suffix or 'nothing'}; give an ending such as .wav or .flac.")
    coding = subtype or ("PCM_24" if soundfile.check_format(kind, "PCM_24") else soundfile.default_subtype(kind))
    if not soundfile.check_format(kind, coding):
        raise GainError(f"subtype is {coding!r}; {kind} files take {', '.join(soundfile.available_subtypes(kind))}.")
    if where.exists() and not overwrite:
        raise GainError(f"{path} is there already; choose another name or say overwrite=True.")
    if not where.parent.is_dir():
        raise GainError(f"the folder {where.parent} is not there; make it first.")
    peak = float(np.abs(audio.samples).max())
    if coding.startswith("PCM") and peak > 1.0:
        raise GainError(
            f"the audio reaches {20 * math.log10(peak):+.2f} dBFS and {coding} ends at 0 dBFS; "
            "trim it first or write a float file (subtype='FLOAT')."
        )
    try:
        handle, half = tempfile.mkstemp(prefix=f".{where.name}.", suffix=where.suffix, dir=where.parent)
        os.close(handle)
    except OSError as fault:
        raise GainError(f"{where.parent} cannot be written to ({_reason(fault)}); choose another folder.") from fault
    try:
        soundfile.write(half, _in_codes(audio.samples, coding), audio.rate_hz, format=kind, subtype=coding)
        os.chmod(half, 0o666 & ~_umask())
        os.replace(half, where)
    except (soundfile.LibsndfileError, RuntimeError, OSError) as fault:
        raise GainError(f"{path} could not be written ({_reason(fault)}); nothing was left behind.") from fault
    finally:
        Path(half).unlink(missing_ok=True)
    return where


def _in_codes(samples: Samples, coding: str) -> Samples | NDArray[np.int32]:
    """Samples as libsndfile must get them so that a fixed-point file holds the nearest code, +1.0 the highest one.

    Handing over float64 lets libsndfile scale by 2^(N-1) - 1 for some formats, which would change every sample.
    """
    bits = {"PCM_16": 16, "PCM_24": 24, "PCM_32": 32}.get(coding)
    if bits is None:
        return samples
    top = 2 ** (bits - 1)
    codes = np.clip(np.rint(np.asarray(samples, dtype=np.float64) * top), -top, top - 1)
    shifted: NDArray[np.int32] = np.left_shift(codes.astype(np.int64), 32 - bits).astype(np.int32)
    return shifted


def _promised_bytes(where: Path) -> int:
    """The size that a RIFF or FORM header promises, 0 for none (a stream's open length is none)."""
    with where.open("rb") as file:
        head = file.read(8)
    order = {b"RIFF": "little", b"FORM": "big"}.get(head[:4])
    if order is None or len(head) < 8:
        return 0
    promised = int.from_bytes(head[4:8], "little" if order == "little" else "big")
    return 0 if promised in (0, 0xFFFFFFFF) else promised + 8


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _reason(fault: BaseException) -> str:
    text = getattr(fault, "error_string", None) or getattr(fault, "strerror", None) or str(fault)
    return str(text).strip().rstrip(".").lower()
