"""Sound in formats that libsndfile does not read, decoded by ffmpeg, where it is installed, into a WAV for a while."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from gainlib.errors import GainError
from gainlib.text import printable

__all__ = ["DECODED_ENDINGS", "Decoded", "is_decoded"]

_READERS = {
    "aac": "aac", "ac3": "ac3", "ape": "ape", "m4a": "mov", "m4b": "mov", "mka": "matroska", "mpc": "mpc,mpc8",
    "tta": "tta", "wma": "asf", "wv": "wv",
}  # fmt: skip
DECODED_ENDINGS = frozenset(_READERS)
"""The endings of files that are decoded before they are read."""

_LONGEST_SECONDS = 3600


def is_decoded(path: Path) -> bool:
    """Whether a file is decoded by ffmpeg before it is read, by its ending.

    >>> is_decoded(Path("voice.m4a")), is_decoded(Path("voice.wav"))
    (True, False)
    """
    return path.suffix.removeprefix(".").lower() in DECODED_ENDINGS


class Decoded:
    """A file's first sound as a WAV of 32-bit floats at `wav`, in a folder of its own until `close`.

    Raises GainError with what to do where there is no ffmpeg and where the file cannot be decoded. Only the reader of
    the format that the ending names is let at the file, and that may open nothing else: a list of addresses that calls
    itself a recording fetches nothing.
    """

    def __init__(self, path: Path, given: str | os.PathLike[str]) -> None:
        ending = path.suffix.removeprefix(".").lower()
        program = _program(path)
        if program is None:
            raise GainError(
                f"{given} is read only with the help of ffmpeg, which is not installed here; export it as WAV or FLAC."
            )
        self._folder = tempfile.TemporaryDirectory(prefix="gainlib-", ignore_cleanup_errors=True)
        self.wav = Path(self._folder.name) / "decoded.wav"
        command = [
            program, "-nostdin", "-v", "error", "-xerror", "-protocol_whitelist", "file",
            "-format_whitelist", _READERS[ending], "-i", f"file:{path.absolute()}", "-map", "0:a:0", "-vn",
            "-c:a", "pcm_f32le", "-bitexact", "-rf64", "auto", "-f", "wav", f"file:{self.wav}",
        ]  # fmt: skip
        why = ""
        try:
            done = subprocess.run(command, capture_output=True, stdin=subprocess.DEVNULL, timeout=_LONGEST_SECONDS)
            if done.returncode or not self.wav.exists():
                said = done.stderr.decode("utf-8", "replace").strip().splitlines()
                full = any("No space left" in each for each in said)
                why = f"the disk with {Path(self._folder.name).parent} is full" if full else "it is damaged or another"
        except subprocess.TimeoutExpired:
            why = "it took more than an hour"
        except OSError as fault:
            why = f"ffmpeg did not start: {fault.strerror or fault}"
        if why:
            self.close()
            raise GainError(f"{given} could not be decoded by ffmpeg ({printable(why)}); export it as WAV or FLAC.")

    def close(self) -> None:
        """Remove the WAV."""
        self._folder.cleanup()


def _program(path: Path) -> str | None:
    """Where ffmpeg is, on the PATH; never one that lies beside the recording or in the folder that one is in."""
    found = shutil.which("ffmpeg")
    if found is None:
        return None
    beside = {Path.cwd().resolve(), path.resolve().parent}
    return None if Path(found).absolute().parent.resolve() in beside else str(Path(found).absolute())
