"""Surveys real recordings of instruments and speech that Debian's packages carry: `python real_recordings.py [FOLDER]`.

Fetches the packages with `apt-get download` into a folder of its own (temporary unless named), takes the sound files
out, surveys each package as a new user would, and prints what is said. Nothing of it is part of the course, and no test
runs it: it is for looking at what surprises.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from gainlib.sound_file import is_sound
from gainlib.surveys import Practice, lines
from gainlib.surveys.survey import survey

PACKAGES = (
    "alsa-utils", "sound-theme-freedesktop", "frozen-bubble-data", "tuxpaint-data", "pingus-data",
    "wesnoth-1.16-music", "asterisk-core-sounds-en-wav", "asterisk-moh-opsound-wav", "asc-music", "supertux-data",
    "hedgewars-data", "lincity-ng-data", "extremetuxracer-data", "klettres-data", "ktuberling-data",
)  # fmt: skip


def fetched(package: str, folder: Path) -> Path | None:
    """The package taken apart, None where it cannot be had."""
    place = folder / package
    if not place.exists():
        done = subprocess.run(["apt-get", "download", package], cwd=folder, capture_output=True, text=True, timeout=300)
        debs = sorted(folder.glob(f"{package}_*.deb"))
        if done.returncode or not debs:
            print(f"{package}: not to be had ({(done.stderr.strip().splitlines() or ['no word'])[-1]})")
            return None
        subprocess.run(["dpkg-deb", "-x", str(debs[-1]), str(place)], check=True)
    return place


def looked_at(package: str, place: Path) -> None:
    """Survey what a package holds, and print what is said of the worst and of all."""
    sounds = [each for each in sorted(place.rglob("*")) if is_sound(each)]
    if not sounds:
        print(f"{package}: no sound files")
        return
    start = time.perf_counter()
    found = survey(*sounds[:300], practice=Practice())
    took = time.perf_counter() - start
    print(
        f"\n== {package}: {len(sounds)} sound files, {sum(each.seconds for each in found.stems):.0f} s, in {took:.1f} s"
    )
    told = lines(found)
    for line in [*told[:14], "...", *told[len(found.stems) :]]:
        print("  ", line[:400])


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as temporary:
        where = Path(sys.argv[1] if len(sys.argv) > 1 else temporary)
        where.mkdir(exist_ok=True)
        for each in PACKAGES:
            unpacked = fetched(each, where)
            if unpacked is not None:
                looked_at(each, unpacked)
