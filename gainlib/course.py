"""The learner's folder: a working copy of the lessons, what Jupyter needs to open it, and the table of contents."""

from __future__ import annotations

import hashlib
import html
import json
import os
import sys
import urllib.parse
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from gainlib.audio import bundled_folder
from gainlib.errors import GainError
from gainlib.exercises import Progress, exercise_names, load
from gainlib.exercises.progress import MANIFEST, MARK, course_folder, write_whole

__all__ = ["Contents", "Laid", "Lesson", "address", "contents", "lay", "server_command", "server_environment"]

FIRST_PAGE = "contents.ipynb"
NOT_LAID = {"progress.json"}


@dataclass(frozen=True)
class Laid:
    """What laying the lessons did, in words: one sentence for each thing that a learner may want to know.

    >>> Laid(Path("course"), ()).text
    'Your lessons in course are up to date.'
    """

    folder: Path
    sentences: tuple[str, ...]

    @property
    def text(self) -> str:
        """All of it, one line for each sentence."""
        return "\n".join(self.sentences) or f"Your lessons in {self.folder} are up to date."


def lay(folder: str | os.PathLike[str], version: str, lessons: Path | None = None) -> Laid:
    """Make the learner's own copy of the lessons, or bring it up to date; what the learner changed is never touched.

    What was laid is remembered by its digest in a hidden folder. A lesson that the learner left as it was is replaced
    by a newer one; beside a changed one the newer is laid under a name that says so; one that is missing is laid
    again, which is how a learner gets a fresh copy. `lessons` is the course's own folder unless given. Raises
    GainError when something stands in the way or cannot be written.

    >>> import tempfile
    >>> laid = lay(tempfile.mkdtemp(), "0.1.0")
    >>> (laid.folder / "contents.ipynb").is_file()
    True
    """
    home = Path(folder).expanduser()
    source = lessons or bundled_folder("lessons")
    try:
        if home.exists() and not home.is_dir():
            raise GainError(f"{home} is a file; name a folder for the course, or one that is not there yet.")
        if home.resolve() == source.resolve() or source.resolve() in home.resolve().parents:
            raise GainError(f"{home} is where the course itself lies; name another folder for your own copy.")
        mark = home / MARK
        if mark.exists() and not mark.is_dir():
            raise GainError(f"{mark} is a file and stands in the way of the course's folder of that name; move it.")
        mark.mkdir(parents=True, exist_ok=True)
        known = _manifest(mark / MANIFEST)
        first = not known
        sentences = [
            sentence
            for name in _course_files(source)
            if (sentence := _laid_one(home, source, name, known, version, first=first))
        ]
        if first:
            sentences.insert(0, f"Your lessons are in {home}.")
        content = {"version": 1, "course": version, "laid": known}
        write_whole(mark / MANIFEST, json.dumps(content, indent=1, ensure_ascii=False) + "\n")
    except OSError as fault:
        where = fault.filename or home
        reason = (fault.strerror or str(fault)).lower()
        raise GainError(f"{where} cannot be used ({reason}); name a folder that you may write to.") from fault
    return Laid(home, tuple(sentences))


def _laid_one(
    home: Path, source: Path, name: str, known: dict[str, dict[str, str]], version: str, *, first: bool
) -> str:
    """Lay one file and remember it; the sentence that the learner should read, empty for none."""
    content = (source / name).read_bytes()
    digest, target = _digest(content), home / name
    before = known.get(name, {})
    if not target.exists() and not target.is_symlink():
        target.parent.mkdir(parents=True, exist_ok=True)
        write_whole(target, content)
        known[name] = {"laid": digest, "offered": digest}
        if first:
            return ""
        return f"{name} was missing; it is laid again." if before else f"{name} is new."
    # A link, or anything but a plain file, is the learner's own doing.
    plain = target.is_file() and not target.is_symlink()
    present = _digest(target.read_bytes()) if plain else ""
    if present == digest:
        known[name] = {"laid": digest, "offered": digest}
        return ""
    if plain and present == before.get("laid"):
        write_whole(target, content)
        known[name] = {"laid": digest, "offered": digest}
        return f"{name} is replaced by the version of gainlib {version}; you had not changed it."
    if before.get("offered") == digest:
        return ""
    beside = _beside(target, version, digest)
    if not beside.exists():
        write_whole(beside, content)
    known[name] = {"laid": before.get("laid", ""), "offered": digest}
    return f"{name} holds your changes and stays as it is; the new version is laid beside it as {beside.name}."


def _beside(target: Path, version: str, digest: str) -> Path:
    """A free name beside the learner's file, or the one that holds the new version already."""
    count = 1
    while True:
        again = f", {count}" if count > 1 else ""
        beside = target.with_name(f"{target.stem} (new in {version}{again}){target.suffix}")
        if not beside.exists() and not beside.is_symlink():
            return beside
        if beside.is_file() and _digest(beside.read_bytes()) == digest:
            return beside
        count += 1


def _course_files(source: Path) -> list[str]:
    found = (file.relative_to(source) for file in source.rglob("*") if file.is_file())
    return sorted(
        each.as_posix()
        for each in found
        if each.name not in NOT_LAID and not any(part.startswith((".", "__")) for part in each.parts)
    )


def _manifest(file: Path) -> dict[str, dict[str, str]]:
    """What was laid: name -> digests; empty where nothing was, or where the list cannot be read.

    With an empty list every file that differs counts as the learner's, so that nothing can be lost by it.
    """
    try:
        laid = json.loads(file.read_text(encoding="utf-8"))["laid"]
        return {str(name): {str(key): str(value) for key, value in each.items()} for name, each in laid.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def server_command(folder: Path, port: int) -> list[str]:
    """The command that starts JupyterLab on this computer only, in the learner's folder; no token is on it.

    >>> "--ServerApp.ip=127.0.0.1" in server_command(Path("course"), 8888)
    True
    """
    command = [
        sys.executable,
        "-m",
        "jupyterlab",
        "--no-browser",
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        f"--ServerApp.root_dir={folder.resolve()}",
        "--ServerApp.allow_remote_access=False",
        "--PasswordIdentityProvider.hashed_password=",
        "--ServerApp.log_level=WARN",
        # Language servers are of no use here, and looking for them takes time and writes into the user's home.
        "--LanguageServerManager.autodetect=False",
    ]
    # Jupyter refuses to run for root without this; lab containers do run so, and only this computer is served.
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    return command


def server_environment(folder: Path, runtime: Path, token: str) -> dict[str, str]:
    """The environment of the server: settings, kernel and state of its own, so that nobody's own Jupyter is touched.

    Lays the few files that it points to in the learner's hidden folder: a kernel that is this very Python, whatever
    kernels the user has installed, and settings without news and update checks. The token goes by the environment,
    since other users of a computer can read a command line. Raises GainError where the files cannot be written.

    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> server_environment(folder, folder, "secret")["JUPYTER_TOKEN"]
    'secret'
    """
    own = folder.resolve() / MARK / "jupyter"
    kernel = {
        "argv": [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"],
        "display_name": "Python (gainlib)",
        "language": "python",
        "metadata": {"debugger": True},
    }
    notices = {"fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True}
    settings = own / "settings"
    files: dict[Path, object] = {own / "kernels" / "python3" / "kernel.json": kernel}
    notice = settings / "@jupyterlab" / "apputils-extension" / "notification.jupyterlab-settings"
    if not notice.exists():
        files[notice] = notices
    try:
        for file, content in files.items():
            file.parent.mkdir(parents=True, exist_ok=True)
            write_whole(file, json.dumps(content, indent=1) + "\n")
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise GainError(f"{fault.filename or own} cannot be used ({reason}); name a folder of your own.") from fault
    path = os.pathsep.join([str(own), *filter(None, [os.environ.get("JUPYTER_PATH")])])
    kept = {
        key: value for key, value in os.environ.items() if key not in ("JUPYTER_CONFIG_PATH", "JUPYTER_PREFER_ENV_PATH")
    }
    return kept | {
        "JUPYTER_TOKEN": token,
        "JUPYTER_PATH": path,
        "JUPYTER_CONFIG_DIR": str(own / "config"),
        "JUPYTER_DATA_DIR": str(own / "data"),
        "JUPYTER_RUNTIME_DIR": str(runtime),
        "JUPYTERLAB_SETTINGS_DIR": str(settings),
        "JUPYTERLAB_WORKSPACES_DIR": str(own / "workspaces"),
        "IPYTHONDIR": str(own / "ipython"),
    }


def address(port: int, token: str, page: str = FIRST_PAGE) -> str:
    """Where the browser finds the contents page (or another), in the interface that shows one document at a time.

    >>> address(8888, "secret")
    'http://127.0.0.1:8888/doc/tree/contents.ipynb?token=secret'
    """
    return f"http://127.0.0.1:{port}/doc/tree/{urllib.parse.quote(page)}?{urllib.parse.urlencode({'token': token})}"


@dataclass(frozen=True)
class Lesson:
    """One line of the contents: a lesson, where it lies, and how far the learner is in its exercises."""

    title: str
    link: str
    newer: str
    exercises: tuple[str, ...]
    passed: int
    points: float
    out_of: float

    @property
    def done(self) -> bool:
        """Whether it has exercises and all are passed."""
        return bool(self.exercises) and self.passed == len(self.exercises)

    @property
    def state(self) -> str:
        """How far the learner is, in words."""
        if not self.exercises:
            return "no exercise yet"
        if self.done:
            return f"done, points: {self.points:g} of {self.out_of:g}"
        return f"exercises passed: {self.passed} of {len(self.exercises)}, points: {self.points:g} of {self.out_of:g}"


@dataclass(frozen=True)
class Contents:
    """The table of contents: every lesson, what is done, which is next; a notebook shows it as a table of links."""

    lessons: tuple[Lesson, ...]
    note: str = ""

    @property
    def next(self) -> Lesson | None:
        """The first lesson with something left to do."""
        return next((each for each in self.lessons if not each.done), None)

    def __repr__(self) -> str:
        lines = [f"{each.title}: {each.state}{' (next)' if each is self.next else ''}" for each in self.lessons]
        return "\n".join([*lines, *filter(None, [self.note])])

    def _repr_markdown_(self) -> str:
        rows = ["| lesson | so far | |", "| --- | --- | --- |"]
        for each in self.lessons:
            newer = f" ([newer version]({each.newer}))" if each.newer else ""
            rows.append(
                f"| [{each.title}]({each.link}){newer} | {each.state} | {'next' if each is self.next else ''} |"
            )
        return "\n".join([*rows, *filter(None, ["", self.note])])

    def _repr_html_(self) -> str:
        rows = []
        for each in self.lessons:
            newer = f' (<a href="{html.escape(each.newer)}">newer version</a>)' if each.newer else ""
            link = f'<a href="{html.escape(each.link)}">{html.escape(each.title)}</a>{newer}'
            mark = "<strong>next</strong>" if each is self.next else ""
            rows.append(f"<tr><td>{link}</td><td>{html.escape(each.state)}</td><td>{mark}</td></tr>")
        head = "<thead><tr><th>Lesson</th><th>So far</th><th></th></tr></thead>"
        note = f"<p>{html.escape(self.note)}</p>" if self.note else ""
        return f"<table>{head}<tbody>{''.join(rows)}</tbody></table>{note}"


def contents() -> Contents:
    """Every lesson of the course with what the learner has done in it, and which is next.

    >>> contents().lessons[0].title
    'Set a recording level'
    """
    folder = course_folder() or Path.cwd()
    progress = Progress.at(folder, make=False)  # to look is not to begin
    exercises = [load(name) for name in exercise_names()]
    lessons = []
    for file in sorted(bundled_folder("lessons").glob("[0-9][0-9]-*.ipynb")):
        own = [each for each in exercises if each.lesson == file.stem]
        newer = sorted(folder.glob(f"{file.stem} (new in *).ipynb"), key=lambda each: each.stat().st_mtime)
        best = [progress.best(each.name) for each in own]
        lessons.append(
            Lesson(
                title=_title(file),
                link=_link(folder, file.name),
                newer=_link(folder, newer[-1].name) if newer else "",
                exercises=tuple(each.name for each in own),
                passed=sum(progress.passed(each.name) for each in own),
                points=sum(score[0] for score in best if score),
                out_of=sum(each.out_of for each in own),
            )
        )
    return Contents(tuple(lessons), progress.note)


def _link(folder: Path, name: str) -> str:
    """The lesson as seen from the current folder, which may lie deeper."""
    try:
        depth = len(Path.cwd().resolve().relative_to(folder.resolve()).parts)
    except ValueError:
        depth = 0
    return urllib.parse.quote(str(PurePosixPath(*[".."] * depth, name)))


def _title(notebook: Path) -> str:
    """The first heading of a notebook, else its name."""
    for cell in json.loads(notebook.read_text(encoding="utf-8"))["cells"]:
        for line in "".join(cell["source"]).splitlines():
            if cell["cell_type"] == "markdown" and line.startswith("# "):
                return line[2:].strip()
    return notebook.stem
