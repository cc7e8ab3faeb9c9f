"""What of the course works on this computer, told for the person who looks after it."""

from __future__ import annotations

import ast
import contextlib
import importlib.metadata
import json
import os
import platform
import queue
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gainlib import loops as fast_loops
from gainlib.audio import Audio
from gainlib.cli.installation import install_again, install_line
from gainlib.errors import GainError
from gainlib.flow import Session
from gainlib.jupyter_home import jupyter_environment, lesson_kernel
from gainlib.meters import measure_all, true_peak_dbtp
from gainlib.sound_file import SoundFile, read, write
from gainlib.stages import Compressor, Converter, Delivery, Fader, Pan, Preamp, Ride, Saturation, Source, StoredFile
from gainlib.storage import atomic_write, bundled_folder
from gainlib.surveys.survey import survey
from gainlib.text import printable, reason_of

if TYPE_CHECKING:
    from jupyter_client.blocking.client import BlockingKernelClient

__all__ = ["Finding", "findings"]

LONGEST_SECONDS = 60.0
# As JupyterLab itself puts them together, which takes three seconds of processor time to open; a test holds it to that.
EXTENSIONS_SEEN = """
import glob, json, os, sys
from jupyter_core.paths import jupyter_config_path, jupyter_path
from jupyter_server.config_manager import BaseJSONConfigManager

found = {}
for place in jupyter_path("labextensions"):
    for inside in (("[!@]*", "package.json"), ("@*", "*", "package.json")):
        for file in glob.iglob(os.path.join(place, *inside)):
            with open(file, encoding="utf-8") as opened:
                about = json.load(opened)
            found.setdefault(about["name"], about.get("jupyterlab", {}))
app = os.environ.get("JUPYTERLAB_DIR") or os.path.join(sys.prefix, "share", "jupyter", "lab")
places = [os.path.join(app, "settings")]
places += [os.path.join(each, "labconfig") for each in reversed(jupyter_config_path())]
disabled = {}
for place in places:
    told = BaseJSONConfigManager(config_dir=place, read_directory=True).get("page_config").get("disabledExtensions", {})
    disabled.update(told if isinstance(told, dict) else dict.fromkeys(told, True))
by_others = [
    each
    for name, about in found.items()
    if "_build" in about and disabled.get(name) is not True
    for each in about.get("disabledExtensions", [])
]
disabled = {**dict.fromkeys(by_others, True), **disabled}
print(json.dumps([sorted(found), sorted(name for name, off in disabled.items() if off)]))
"""
# The kernel ends when it has answered; looking for memory to take back meanwhile would be an eighth of its work. The
# compiled loops are looked at beside it, and to open numba once more would take longer than to draw by the plain ones.
ASKED_FIRST = "import gc, importlib, sys, gainlib; gc.disable(); sys.modules['numba'] = None"
IN_KERNEL = {
    "python": "sys.executable",
    "gainlib": "gainlib.__version__",
    "pictures": "importlib.import_module('gainlib.cli.setup').seen_in_kernel()",
}
EXTENSIONS = {"anywidget": "anywidget", "ipywidgets": "@jupyter-widgets/jupyterlab-manager"}


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at: whether it works, what was seen, and what to do when it does not.

    Where this computer was too `slow` for it to be seen, nothing is known to be wrong.
    """

    what: str
    works: bool
    said: str
    todo: str = ""
    slow: bool = False

    def as_dict(self) -> dict[str, object]:
        """As JSON holds it."""
        return asdict(self)


def findings(folder: Path) -> Iterator[Finding]:
    """Look at everything that the course needs, each by itself, so that one fault does not hide the next.

    Each is given as soon as it is known. Those that wait for other processes go on beside the rest.

    >>> all(isinstance(each, Finding) for each in [python_version(), loopback_port()])
    True
    """
    looks: list[tuple[str, Callable[[], Finding]]] = [
        ("Python", python_version),
        ("packages", packages),
        ("sound files", sound_files),
        ("port", loopback_port),
        ("folder", lambda: writable(folder)),
        ("compiled loops", compiled_loops),
        ("course material", material),
    ]
    with ThreadPoolExecutor(2) as pool:
        begun = [pool.submit(in_kernel), pool.submit(lambda: [seen("widgets", widgets)])]
        for each in looks:
            yield seen(*each)
        for done in reversed(begun):
            yield from done.result()


def in_kernel() -> list[Finding]:
    """What is seen of the kernel, and in it of the pictures, whose libraries it opens anyway; else of those here."""
    told: list[Finding] = []
    found = seen("kernel", lambda: kernel(told))
    return [*(told or [seen("pictures", pictures)]), found]


def seen(what: str, look: Callable[[], Finding]) -> Finding:
    """What `look` finds; a fault of any kind is a finding as well."""
    try:
        return look()
    except (TimeoutError, subprocess.TimeoutExpired):
        return Finding(
            what,
            False,
            f"Took longer than {LONGEST_SECONDS:g} s: this computer is busy or slow; nothing is known to be wrong.",
            "Wait until other programs are done, then: gainlib check-setup",
            slow=True,
        )
    except Exception as fault:  # whatever is broken here is what this command is asked about
        reason = printable((str(fault).splitlines() or ["no reason given"])[0])[:200]
        return Finding(what, False, f"Could not be looked at ({type(fault).__name__}: {reason}).", install_again())


def python_version() -> Finding:
    """Whether this Python is new enough for the package's own minimum."""
    from packaging.specifiers import SpecifierSet

    wanted = importlib.metadata.metadata("gainlib")["Requires-Python"] or ""
    works = SpecifierSet(wanted).contains(platform.python_version(), prereleases=True)
    said = f"{platform.python_version()} at {sys.executable}; wanted {wanted}."
    return Finding("Python", works, said, "" if works else "Make the environment with a newer Python.")


def packages() -> Finding:
    """Whether each package that gainlib needs is there, in the version that it needs."""
    from packaging.requirements import Requirement

    faults, count = [], 0
    for line in importlib.metadata.requires("gainlib") or []:
        needed = Requirement(line)
        if needed.marker and not needed.marker.evaluate({"extra": ""}):
            continue
        count += 1
        try:
            version = importlib.metadata.version(needed.name)
        except importlib.metadata.PackageNotFoundError:
            faults.append(f"{needed.name} is missing, {needed.specifier} is wanted")
            continue
        if not needed.specifier.contains(version, prereleases=True):
            faults.append(f"{needed.name} is {version}, {needed.specifier} is wanted")
    if faults:
        names = " ".join(f'"{fault.split()[0]}"' for fault in faults)
        return Finding("packages", False, f"{'; '.join(faults)}.", install_line(names, newer=True))
    return Finding("packages", True, f"All {count} packages are there in a version that fits.")


def widgets() -> Finding:
    """Whether JupyterLab finds the widgets' own parts for the browser, and has them enabled."""
    with tempfile.TemporaryDirectory(prefix="gainlib-", ignore_cleanup_errors=True) as place:
        return widgets_in(jupyter_environment(Path(place)))


def widgets_in(environment: dict[str, str]) -> Finding:
    """The same for a JupyterLab that runs in this environment."""
    done = subprocess.run(
        [sys.executable, "-P", "-c", EXTENSIONS_SEEN],
        env=environment,
        capture_output=True,
        text=True,
        timeout=LONGEST_SECONDS,
        check=False,
    )
    if done.returncode != 0:
        last = (done.stderr.strip().splitlines() or ["no word"])[-1]
        return Finding("widgets", False, f"JupyterLab could not be asked for its extensions: {last}", install_again())
    found, disabled = json.loads(done.stdout.strip().splitlines()[-1])
    for package, extension in EXTENSIONS.items():
        if extension not in found:
            todo = install_line(package)
            return Finding("widgets", False, f"JupyterLab does not find the extension {extension}.", todo)
        if any(each.split(":")[0] == extension for each in disabled):
            todo = f"{sys.executable} -m jupyter labextension enable {extension}"
            return Finding("widgets", False, f"The extension {extension} is disabled in JupyterLab.", todo)
    return Finding("widgets", True, f"JupyterLab finds {' and '.join(EXTENSIONS)}, both enabled.")


def sound_files() -> Finding:
    """Whether FLAC and WAV can be written and come back the same."""
    tone = Audio(np.round(np.sin(np.arange(4800) / 10) * 2.0**22) / 2.0**23, 48_000)
    with tempfile.TemporaryDirectory(prefix="gainlib-") as place:
        for ending in ("flac", "wav"):
            back = read(write(Path(place) / f"tone.{ending}", tone))
            if back.rate_hz != tone.rate_hz or not np.array_equal(back.samples, tone.samples):
                todo = install_line("soundfile")
                return Finding("sound files", False, f"A {ending.upper()} file came back changed.", todo)
    return Finding("sound files", True, "FLAC and WAV are written and read back bit for bit.")


def material() -> Finding:
    """Whether lessons, exercises and stems came with the package and can be read."""
    from gainlib.exercises import load
    from gainlib.exercises.collection import read_spec

    lessons = list(bundled_folder("lessons").glob("*.ipynb"))
    stems = list(bundled_folder("media").glob("*.flac"))
    exercises = sorted(bundled_folder("exercises").glob("*/*.toml"))
    missing = [name for name, some in (("lessons", lessons), ("stems", stems), ("exercises", exercises)) if not some]
    if missing:
        return Finding("course material", False, f"There are no {' and no '.join(missing)}.", install_again())
    # A file may have come cut off. Whether what it says makes sense was seen before it was given out, by the tests.
    for stem in stems:
        with SoundFile(stem) as recording:
            recording.part(max(recording.frames - recording.rate_hz, 0), recording.frames)
    for exercise in exercises:
        read_spec(exercise)
    load(f"{exercises[0].parent.name}/{exercises[0].stem}")
    said = f"Notebooks: {len(lessons)}, exercises: {len(exercises)}, stems: {len(stems)}, all read."
    return Finding("course material", True, said)


def compiled_loops() -> Finding:
    """Which loops run: compiled, all of them here and now and kept for later, or their stand-in, which is slower."""
    if fast_loops.backend() is fast_loops.numpy_loops:
        said = "numba cannot be used here; the numpy stand-in runs, slower, same results."
        return Finding("compiled loops", True, said)
    take = read("media/snare.flac", seconds=(0.0, 1.1))  # enough for channels to run side by side
    for detector in ("peak", "rms"):
        lane = [Source(-24.0), Preamp(50.0), Converter("EBU R 68"), Compressor(-30.0, detector=detector), Pan(0.3)]
        rest = [Saturation(low_end_db=6.0), StoredFile("fixed 16", noise_shaping=True), Delivery()]
        rendered = Session.of(take, [*lane, *rest]).render()
        measure_all(rendered.at(rendered.last_tap))
    survey([bundled_folder("media") / name for name in ("snare.flac", "guitar.flac")])  # a sum, and two sides
    true_peak_dbtp(take.samples)  # single precision, as a file holds it
    made = f"numba {importlib.metadata.version('numba')} compiles them"
    where = fast_loops.where_kept()
    return Finding(
        "compiled loops", True, f"{made}, and keeps them in {where}." if where else f"{made}, again each time."
    )


def pictures() -> Finding:
    """Whether a picture of each kind can be drawn with the Bokeh that is installed."""
    from gainlib.html.figures import embedded
    from gainlib.views import views

    take = Audio(np.sin(np.arange(8000) / 5) / 2, 8000)  # so few samples that the plain loops are done at once
    lane = [Source(-24.0), Preamp(50.0), Converter("EBU R 68"), Ride(((0.0, -3.0), (0.5, 0.0))), Compressor(-30.0)]
    lane += [Fader(-3.0), Pan(0.3), Saturation(6.0, 6.0), Delivery()]
    rendering = Session.of(take, lane).render()
    faults = {}
    for name, kind in views().items():
        try:
            json.dumps(embedded(kind().figure(rendering)))
        except Exception as fault:
            faults[name] = printable((str(fault).splitlines() or [type(fault).__name__])[0])[:200]
    if faults:
        name, reason = next(iter(faults.items()))
        others = f", nor {len(faults) - 1} more" if len(faults) > 1 else ""
        said = f"The picture {name!r} cannot be drawn{others} ({reason})."
        return Finding("pictures", False, said, install_line('"bokeh"', newer=True))
    return Finding("pictures", True, f"All {len(views())} kinds of pictures can be drawn.")


def loopback_port() -> Finding:
    """Whether a port on this computer can be opened."""
    try:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            probe.listen(1)
            with socket.create_connection(probe.getsockname(), timeout=5):
                return Finding("port", True, "Ports on 127.0.0.1 can be opened and reached.")
    except OSError as fault:
        todo = "Let programs of this user open ports on 127.0.0.1; nothing from outside is needed."
        return Finding("port", False, f"No port on 127.0.0.1 can be opened ({fault.strerror or fault}).", todo)


def writable(folder: Path) -> Finding:
    """Whether the learner's folder, or the nearest one above that exists, can be written to."""
    place = folder.expanduser().resolve()
    while not place.exists() and place.parent != place:
        place = place.parent
    if not place.is_dir():
        return Finding("folder", False, f"{place} is a file.", "Name a folder: gainlib check-setup FOLDER")
    try:
        with tempfile.TemporaryDirectory(prefix=".gainlib-", dir=place) as inside:
            for text in ("first", "second"):
                atomic_write(Path(inside) / "probe.txt", text)
    except (OSError, GainError) as fault:
        said = str(fault) if isinstance(fault, GainError) else f"{place} cannot be written to ({reason_of(fault)})."
        return Finding("folder", False, said, "Open the course in a folder of the learner's own: gainlib open FOLDER")
    return Finding("folder", True, f"{place} can be written to.")


def kernel(told: list[Finding] | None = None) -> Finding:
    """Whether a notebook's kernel starts, and is this very Python with this gainlib; `told` takes what it saw."""
    from jupyter_core.utils import ensure_event_loop

    with tempfile.TemporaryDirectory(prefix="gainlib-", ignore_cleanup_errors=True) as place:
        home = Path(place)
        environment, manager = jupyter_environment(home), lesson_kernel(home)
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        manager.start_kernel(env=environment, cwd=str(home), **quiet)
        client = manager.client()
        try:
            client.start_channels(iopub=False, stdin=False, hb=False)
            answer = answered(client, manager.is_alive)
        finally:
            client.stop_channels()
            manager.shutdown_kernel(now=True)
            ensure_event_loop().close()  # of this thread, which nobody else would close
    if answer is None:
        todo = f"{install_again()}. If that does not help, look at antivirus rules for {sys.executable}."
        return Finding("kernel", False, "A notebook's kernel ends as it starts.", todo)
    python, version = answer.get("python"), answer.get("gainlib")
    if not isinstance(python, str) or _same(python) != _same(sys.executable) or not version:
        who = " ".join(str(each) for each in (python, version) if each) or "nobody"
        return Finding("kernel", False, f"The kernel answers as {who}.", install_again())
    if told is not None and "pictures" in answer:
        told.append(Finding(**answer["pictures"]))
    return Finding("kernel", True, "A notebook's kernel starts with this Python and this gainlib.")


def _same(path: str) -> str:
    """A path as it is compared: one that was typed may go down and up again."""
    return os.path.normcase(os.path.abspath(path))


def seen_in_kernel() -> dict[str, object]:
    """What the kernel sees of the pictures."""
    return seen("pictures", pictures).as_dict()


def answered(client: BlockingKernelClient, alive: Callable[[], bool]) -> dict[str, Any] | None:
    """What a kernel says to `IN_KERNEL`, without what it cannot say; None where it ended, TimeoutError where it waits.

    It answers when it is there, so that nothing else needs to be asked of it before.
    """
    client.execute(ASKED_FIRST, silent=True, user_expressions=IN_KERNEL)
    until = time.monotonic() + LONGEST_SECONDS
    while time.monotonic() < until:
        with contextlib.suppress(queue.Empty):
            told = client.get_shell_msg(timeout=min(0.25, LONGEST_SECONDS))["content"].get("user_expressions", {})
            said = {name: each["data"]["text/plain"] for name, each in told.items() if each["status"] == "ok"}
            return {name: ast.literal_eval(text) for name, text in said.items()}
        if not alive():
            return None
    raise TimeoutError
