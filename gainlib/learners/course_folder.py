"""The learner's folder: a working copy of the lessons, what Jupyter needs to open it, and the table of contents."""

from __future__ import annotations

import hashlib
import html
import json
import os
import re
import sys
import urllib.parse
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from gainlib.errors import GainError
from gainlib.exercises import exercise_names, load
from gainlib.learners.progress import MANIFEST, MARK, Progress, course_folder, require_text
from gainlib.storage import atomic_write, bundled_folder
from gainlib.text import reason_of

__all__ = [
    "Contents",
    "Laid",
    "Learner",
    "Lesson",
    "Task",
    "address",
    "contents",
    "lay",
    "learner",
    "server_command",
    "server_environment",
]

FIRST_PAGE = "contents.ipynb"
BOOK = "exercise-book.ipynb"
NOT_LAID = {"progress.json", "for-teachers.md"}
LESSON_FILES = "[0-9][0-9]-*.ipynb"
_ELSEWHERE = "; name a folder that you may write to"
OPEN_AHEAD = "--IPKernelApp.exec_lines=import gainlib.benches.book_panel; del gainlib"
"""What a lesson's first cell would wait for, opened while its learner reads."""


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


def lay(folder: str | os.PathLike[str], version: str, lessons: Path | None = None, *, only: str | None = None) -> Laid:
    """Make the learner's own copy of the lessons, or bring it up to date; what the learner changed is never touched.

    What was laid is remembered by its digest in a hidden folder. A lesson that the learner left as it was is replaced
    by a newer one; beside a changed one the newer is laid under a name that says so; one that is missing is laid
    again, which is how a learner gets a fresh copy. The exercise book is laid beside the lessons. `lessons` is the
    course's own folder unless given, and then there is no book. With `only`, such as "03,04,06", just those lessons
    are laid and listed, until "all" or others are given; none that is there is taken away. Raises GainError when
    something stands in the way or cannot be written, and for a lesson that there is not.

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
        chosen = _chosen(home) if only is None else _lessons_meant(only, source)
        mark.mkdir(parents=True, exist_ok=True)
        known = _manifest(mark / MANIFEST)
        first = not known
        files = [
            (source, name)
            for name in _course_files(source)
            if not chosen or name in chosen or not PurePosixPath(name).match(LESSON_FILES)
        ]
        if lessons is None:  # the exercise book lies beside the exercises that it opens
            files.append((bundled_folder("exercises"), BOOK))
        sentences = [
            sentence for place, name in files if (sentence := _laid_one(home, place, name, known, version, first=first))
        ]
        if first:
            sentences.insert(0, f"Your lessons are in {home}.")
        content = {"version": 1, "course": version, "lessons": list(chosen), "laid": known}
        atomic_write(mark / MANIFEST, json.dumps(content, indent=1, ensure_ascii=False) + "\n", then=_ELSEWHERE)
    except OSError as fault:
        where = fault.filename or home
        raise GainError(f"{where} cannot be used ({reason_of(fault)}){_ELSEWHERE}.") from fault
    return Laid(home, tuple(sentences))


def _laid_one(
    home: Path, source: Path, name: str, known: dict[str, dict[str, str]], version: str, *, first: bool
) -> str:
    """Lay one file and remember it; the sentence that the learner should read, empty for none."""
    content = (source / name).read_bytes()
    digest, target = _digest(content), home / name
    before = known.get(name, {})
    if not target.exists() and not target.is_symlink():
        atomic_write(target, content, make_folder=True, then=_ELSEWHERE)
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
        atomic_write(target, content, then=_ELSEWHERE)
        known[name] = {"laid": digest, "offered": digest}
        return f"{name} is replaced by the version of gainlib {version}; you had not changed it."
    if before.get("offered") == digest:
        return ""
    beside = _beside(target, version, digest)
    if not beside.exists():
        atomic_write(beside, content, then=_ELSEWHERE)
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


def _chosen(home: Path) -> tuple[str, ...]:
    """The lessons, by file name, that were picked for this folder; none for all of them, and where none can be read."""
    try:
        return tuple(map(str, json.loads((home / MARK / MANIFEST).read_text(encoding="utf-8"))["lessons"]))
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ()


def _lessons_meant(only: str, source: Path) -> tuple[str, ...]:
    """The file names of lessons that a list such as "3, 04, 6" names; none for "all". Raises GainError."""
    if only.strip().lower() == "all":
        return ()
    names = {file.name[:2]: file.name for file in sorted(source.glob(LESSON_FILES))}
    wanted = [each.strip() for each in only.split(",")]
    for each in wanted:
        if not each.isdecimal() or each.zfill(2) not in names:
            raise GainError(
                f"there is no lesson {each!r}; the course has {', '.join(names)}: give some of them, such as 03,06, "
                "or all."
            )
    return tuple(sorted({names[each.zfill(2)] for each in wanted}))


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


_SETTINGS: dict[str, object] = {
    "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True},
    "statusbar-extension/plugin": {"visible": False},
    "notebook-extension/panel": {
        "toolbar": [{"name": name, "disabled": True} for name in ("insert", "cut", "copy", "paste", "cellType")]
    },
}
_HIDDEN = (
    "@jupyterlab/application-extension:property-inspector",
    "@jupyterlab/cell-toolbar-extension",
    "@jupyterlab/debugger-extension",
    "@jupyterlab/extensionmanager-extension",
)


def server_environment(folder: Path, runtime: Path, token: str) -> dict[str, str]:
    """The environment of the server: settings, kernel and state of its own, so that nobody's own Jupyter is touched.

    Lays the few files that it points to in the learner's hidden folder: a kernel that is this very Python, whatever
    kernels the user has installed, and settings that make a page of a course: no news, no update checks, none of the
    buttons that take cells away or are for programmers. A setting that was changed is kept. The token goes by the
    environment, since other users of a computer can read a command line. Raises GainError where the files cannot be
    written.

    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> server_environment(folder, folder, "secret")["JUPYTER_TOKEN"]
    'secret'
    """
    own = folder.resolve() / MARK / "jupyter"
    kernel = {
        "argv": [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}", OPEN_AHEAD],
        "display_name": "Python (gainlib)",
        "language": "python",
        "metadata": {"debugger": True},
    }
    settings = own / "settings"
    files: dict[Path, object] = {own / "kernels" / "python3" / "kernel.json": kernel}
    files[own / "config" / "labconfig" / "page_config.json"] = {"disabledExtensions": dict.fromkeys(_HIDDEN, True)}
    for name, values in _SETTINGS.items():
        file = settings / "@jupyterlab" / f"{name}.jupyterlab-settings"
        if not file.exists():
            files[file] = values
    for file, content in files.items():
        atomic_write(file, json.dumps(content, indent=1) + "\n", make_folder=True, then="; name a folder of your own")
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
class Learner:
    """Who works in this folder; shows itself as one sentence.

    >>> Learner("Ada", Path("progress.json"))
    You are Ada. Your name and your answers are kept in progress.json.
    """

    name: str
    file: Path
    note: str = ""

    def __repr__(self) -> str:
        who = (
            f"You are {self.name}." if self.name else "No name yet: write yours between the quotes and run this again."
        )
        kept = f"Your name and your answers are kept in {self.file.name}." if self.name else ""
        return " ".join(filter(None, [who, self.note or kept]))

    def _repr_html_(self) -> str:
        return f"<p style='font-size:1.1em;max-width:44em'>{html.escape(repr(self))}</p>"


def learner(name: str = "") -> Learner:
    """Who works in this folder; with a name, that name is kept with the progress from now on.

    Answers stay where they are when the name changes. Without a name nothing is written. Raises GainError for a name
    that is not one line of 1 to 200 characters.

    >>> import contextlib, tempfile
    >>> with contextlib.chdir(tempfile.mkdtemp()):
    ...     learner("Ada").name
    'Ada'
    """
    folder = course_folder() or Path.cwd()
    found = Progress.at(folder, name=require_text("the name", name)) if name else Progress.at(folder, make=False)
    return Learner(found.learner_name, found.file, found.note)


@dataclass(frozen=True)
class Task:
    """One exercise in the contents: what it is called and what the learner has got for it."""

    name: str
    title: str
    passed: bool = False
    points: float = 0.0
    out_of: float = 0.0


@dataclass(frozen=True)
class Lesson:
    """One line of the contents: a lesson, where it lies, how long it takes, and how far the learner is in it."""

    title: str
    link: str
    newer: str = ""
    minutes: int = 0
    tasks: tuple[Task, ...] = ()

    @property
    def number(self) -> str:
        """The two digits that its file begins with."""
        return PurePosixPath(urllib.parse.unquote(self.link)).name[:2]

    @property
    def exercises(self) -> tuple[str, ...]:
        """The names of its exercises."""
        return tuple(each.name for each in self.tasks)

    @property
    def passed(self) -> int:
        """How many of them are passed."""
        return sum(each.passed for each in self.tasks)

    @property
    def points(self) -> float:
        """The points that the learner has got in them."""
        return sum(each.points for each in self.tasks)

    @property
    def out_of(self) -> float:
        """The points that can be got in them."""
        return sum(each.out_of for each in self.tasks)

    @property
    def done(self) -> bool:
        """Whether it has exercises and all are passed."""
        return bool(self.tasks) and self.passed == len(self.tasks)

    @property
    def state(self) -> str:
        """How far the learner is, in words."""
        if not self.tasks:
            return "no exercise yet"
        points = f"{self.points:g} of {self.out_of:g} points"
        return f"done, {points}" if self.done else f"{self.passed} of {len(self.tasks)} passed, {points}"


@dataclass(frozen=True)
class Contents:
    """The table of contents: every lesson, what is done, which is next; a notebook shows it as a table of links."""

    lessons: tuple[Lesson, ...]
    note: str = ""
    pages: tuple[tuple[str, str], ...] = ()

    @property
    def next(self) -> Lesson | None:
        """The first lesson with something left to do."""
        return next((each for each in self.lessons if each.tasks and not each.done), None)

    @property
    def sentence(self) -> str:
        """How far the learner is in all, in one sentence."""
        tasks = [task for each in self.lessons for task in each.tasks]
        if not tasks:
            return "There is no exercise yet."
        passed, points, out_of = (sum(getattr(task, name) for task in tasks) for name in ("passed", "points", "out_of"))
        return f"Exercises passed: {passed} of {len(tasks)}. Points: {points:g} of {out_of:g}."

    def __repr__(self) -> str:
        lines = [f"{each.title}: {each.state}{' (next)' if each is self.next else ''}" for each in self.lessons]
        return "\n".join([self.sentence, *lines, *filter(None, [self.note])])

    def _repr_html_(self) -> str:
        left = "text-align:left;vertical-align:top;white-space:normal"
        rows = "".join(self._row(each, left) for each in self.lessons)
        heads = "".join(
            f"<th style='{left}' scope='col'>{head}</th>" for head in ("", "Lesson", "Time", "Exercises", "So far")
        )
        table = f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
        more = " · ".join(f'<a href="{html.escape(link)}">{html.escape(title)}</a>' for title, link in self.pages)
        texts = [self._where_to(), table, more, html.escape(self.note)]
        return f"<div style='font-size:1.1em'>{''.join(f'<p>{each}</p>' for each in texts if each)}</div>"

    def _where_to(self) -> str:
        """What is next, as a link, and how far the learner is."""
        if self.next is None:
            return html.escape(self.sentence)
        begun = any(task.points or task.passed for each in self.lessons for task in each.tasks)
        link = f'<a href="{html.escape(self.next.link)}"><strong>{html.escape(self.next.title)}</strong></a>'
        return f"{'Next' if begun else 'Begin with'}: {link}. {html.escape(self.sentence)}"

    def _row(self, lesson: Lesson, left: str) -> str:
        newer = f' (<a href="{html.escape(lesson.newer)}">newer version</a>)' if lesson.newer else ""
        link = f'<a href="{html.escape(lesson.link)}">{html.escape(lesson.title)}</a>{newer}'
        tasks = " · ".join(html.escape(each.title) + (" ✓" if each.passed else "") for each in lesson.tasks)
        state = html.escape(lesson.state) + ("<br><strong>next</strong>" if lesson is self.next else "")
        time = f"{lesson.minutes}\u00a0min" if lesson.minutes else ""
        cells = "".join(
            f"<td style='{left}'>{each}</td>" for each in (html.escape(lesson.number), link, time, tasks, state)
        )
        return f"<tr>{cells}</tr>"


def contents() -> Contents:
    """Every lesson of the course with what the learner has done in it, and which is next.

    >>> contents().lessons[0].title
    'Start here'
    """
    folder = course_folder() or Path.cwd()
    progress = Progress.at(folder, make=False)  # to look is not to begin
    exercises = [load(name) for name in exercise_names()]
    chosen, lessons = _chosen(folder), []
    for file in sorted(bundled_folder("lessons").glob(LESSON_FILES)):
        if chosen and file.name not in chosen:
            continue
        newer = sorted(folder.glob(f"{file.stem} (new in *).ipynb"), key=lambda each: each.stat().st_mtime)
        title, minutes = _headed(file)
        lessons.append(
            Lesson(
                title=title,
                link=_link(folder, file.name),
                newer=_link(folder, newer[-1].name) if newer else "",
                minutes=minutes,
                tasks=tuple(
                    Task(each.name, each.title, progress.passed(each.name), best[0], each.out_of)
                    for each in sorted(exercises, key=lambda each: (each.level, each.name))
                    if each.lesson == file.stem
                    for best in [progress.best(each.name) or (0.0, 0.0)]
                ),
            )
        )
    pages = (("Exercise book", "exercise-book.ipynb"), ("Glossary: every trade word in one sentence", "glossary.ipynb"))
    laid = tuple((title, _link(folder, name)) for title, name in pages if (folder / name).is_file())
    return Contents(tuple(lessons), progress.note, laid)


def _link(folder: Path, name: str) -> str:
    """The lesson as seen from the current folder, which may lie deeper."""
    try:
        depth = len(Path.cwd().resolve().relative_to(folder.resolve()).parts)
    except ValueError:
        depth = 0
    return urllib.parse.quote(str(PurePosixPath(*[".."] * depth, name)))


def _headed(notebook: Path) -> tuple[str, int]:
    """The first heading of a notebook, else its name; and the minutes that the text under it tells, else 0."""
    for cell in json.loads(notebook.read_text(encoding="utf-8"))["cells"]:
        text = "".join(cell["source"])
        if cell["cell_type"] == "markdown" and (title := re.search(r"(?m)^# (.+)$", text)):
            minutes = re.search(r"About (\d+) minutes", text)
            return title[1].strip(), int(minutes[1]) if minutes else 0
    return notebook.stem, 0
