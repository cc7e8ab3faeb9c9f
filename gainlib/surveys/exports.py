"""Trimmed copies of stems: 24 bits with dither, or floats; the set whole or not at all, the originals never touched."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np

from gainlib.audio import Samples
from gainlib.broadcast import LOUDNESS, Broadcast
from gainlib.decibels import ratio_from_db
from gainlib.errors import GainError
from gainlib.meters import Meters
from gainlib.sound_file import SoundFile, write_blocks
from gainlib.stages.wordlength import in_steps
from gainlib.storage import atomic_files, given_path
from gainlib.surveys.folder import find_files
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.stem import Stem, block_frames
from gainlib.text import channels_in_words, printable

__all__ = ["WORDS", "export", "require_free"]

WORDS = ("24", "float")
"""What copies may hold: 24-bit words, dithered where they are cut, or 32-bit floats."""

_MOST_FLAC_CHANNELS = 8


def require_free(
    given: Iterable[str | os.PathLike[str]], folder: Path, *, word: str = "24", overwrite: bool = False
) -> None:
    """Refuse a folder in which copies of these stems would meet files that are there, before any work is done.

    >>> require_free([], Path("."))
    """
    _copy_paths([path for path, _ in find_files(given).files], folder, word, overwrite)


def export(
    survey: SurveyResult, folder: str | os.PathLike[str], *, word: str = "24", overwrite: bool = False, seed: int = 0
) -> tuple[Path, ...]:
    """A trimmed copy of each stem in a folder, which is made where it is not there; gives their paths.

    `word` is "24" (WAV, or FLAC where the stem is one; triangular dither where the words are cut, drawn from `seed`) or
    "float" (32-bit WAV). What a broadcast WAV says of itself, such as its start, is carried over, with the copy's own
    loudness; so are a title, a comment and the like, and the notes of a recorder (iXML). A stem whose trim is 0 dB and
    whose words fit is copied sample for sample. All copies are written before the first takes its place. Raises
    GainError when one is there already unless `overwrite` is set, when one would stand in the place of an original
    (whatever is set), when a copy would pass full scale, and when the folder or the disk does not take them; then
    nothing is left behind.
    """
    if word not in WORDS:
        raise GainError(f"word is {word!r}; give {' or '.join(repr(each) for each in WORDS)}.")
    where = given_path(folder)
    stems = sorted(survey.stems, key=lambda stem: stem.name)
    targets = _copy_paths([each.path for each in stems], where, word, overwrite)
    if word == "24":
        for stem in stems:
            peak = survey.trim(stem.name).peak_dbfs
            if peak > 0.0:
                raise GainError(
                    f"{stem.name} would reach {peak:+.1f} dBFS and 24 bits end at 0 dBFS; "
                    "trim it lower, or write floats (--word float)."
                )
    with atomic_files(where, then="; choose another folder") as half:
        jobs = [
            (stem, survey.trim(stem.name).gain_db, half / target.name, [seed, index])
            for index, (stem, target) in enumerate(zip(stems, targets, strict=True))
        ]
        with ThreadPoolExecutor(survey.workers) as pool:
            list(pool.map(lambda job: _copy(*job, word=word), jobs))
    return tuple(targets)


def _copy_paths(paths: list[Path], folder: Path, word: str, overwrite: bool) -> list[Path]:
    """Where each copy goes, or a GainError that says why it cannot go there."""
    if folder.exists() and not folder.is_dir():
        raise GainError(f"{printable(folder)} is a file; name a folder for the copies.")
    if not folder.exists() and not folder.resolve().parent.is_dir():
        raise GainError(f"{printable(folder.resolve().parent)} is not there; make it first.")
    originals = {os.path.realpath(each) for each in paths}
    targets: list[Path] = []
    taken: set[str] = set()
    for path in paths:
        flac = word == "24" and path.suffix.lower() == ".flac"
        ending = ".flac" if flac else ".wav"
        name = f"{path.stem}{ending}"
        if name.casefold() in taken:
            name = f"{path.stem}-{path.suffix.removeprefix('.')}{ending}"
        number = 2
        while name.casefold() in taken:
            name = f"{path.stem}-{number}{ending}"
            number += 1
        taken.add(name.casefold())
        targets.append(folder / name)
    for target in targets:
        if os.path.realpath(target) in originals:
            raise GainError(
                f"a copy would stand in the place of {printable(target)}; name another folder, originals stay."
            )
    there = [printable(each.name) for each in targets if each.exists()]
    if there and not overwrite:
        more = f" and {len(there) - 1} more are" if len(there) > 1 else " is"
        raise GainError(f"{there[0]}{more} in {printable(folder)} already; name another folder or say --overwrite.")
    return targets


def _copy(stem: Stem, gain_db: float, target: Path, seed: list[int], *, word: str) -> Path:
    with SoundFile(stem.path) as recording:
        blocks = recording.blocks(block_frames(stem.rate_hz))
        gain = ratio_from_db(gain_db)
        cut = word == "24" and (gain != 1.0 or stem.bits is None or stem.bits > 24)
        trimmed = _trim(blocks, gain, np.random.default_rng(seed) if cut else None)
        was, then = recording.broadcast, None
        if was is not None:
            meters = Meters(stem.rate_hz, stem.channels, LOUDNESS)
            trimmed, then = _metered(trimmed, meters), lambda: _carried_over(was, meters, stem, gain_db, word)
        return write_blocks(
            target, trimmed, stem.rate_hz, stem.channels, frames=stem.frames,
            subtype="PCM_24" if word == "24" else "FLOAT", broadcast=then,
            texts=recording.texts,
        )  # fmt: skip


def _metered(blocks: Iterator[Samples], meters: Meters) -> Iterator[Samples]:
    for block in blocks:
        meters.take(block)
        yield block


def _carried_over(was: Broadcast, meters: Meters, stem: Stem, gain_db: float, word: str) -> Broadcast:
    """What the original says of itself, with the copy's own loudness and a line on what was done.

    Source: *published*, EBU Tech 3285 version 2 (loudness), EBU R 98 (the line; its form *from memory*).
    """
    sides = channels_in_words(stem.channels)
    done = f"A=PCM,F={stem.rate_hz},W={'24' if word == '24' else '32'},M={sides},T=gainlib; trim {gain_db:+.1f} dB\r\n"
    before = was.history if was.history.endswith("\n") or not was.history else f"{was.history}\r\n"
    return replace(was, loudness=meters.of_all(), history=before + done)


def _trim(blocks: Iterator[Samples], gain: float, draw: np.random.Generator | None) -> Iterator[Samples]:
    """The blocks times the gain, in steps of 24 bits with triangular dither where there is to be some.

    The peak may grow by a step; a stem that stands within a step of full scale is cut there.
    """
    for block in blocks:
        out: Samples = block.astype(np.float64) * gain if gain != 1.0 else block
        # What is beyond full scale is not cut: the file refuses it, in words.
        fits = draw is not None and float(np.abs(out).max(initial=0.0)) <= 1.0
        yield in_steps(np.asarray(out, dtype=np.float64), 24, draw) if fits else out
