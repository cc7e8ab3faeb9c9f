"""The learner's folder: where it is, and the working copy of the lessons that is laid in it and kept up to date."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from gainlib.errors import GainError
from gainlib.storage import (
    atomic_write,
    bundled_folder,
    find_lesson,
    given_path,
    held_alone,
    lesson_files,
    lesson_name,
    lesson_number,
)
from gainlib.storage.foreign import LARGEST_NOTEBOOK_BYTES, json_value, read_json
from gainlib.text import reason_of

__all__ = [
    "InstallReport", "chosen_lessons", "course_folder", "install_lessons", "laid_name", "lesson_file", "newer_beside",
]  # fmt: skip

MARK = ".gainlib"
MANIFEST = "course.json"
LOCK = ".lock"
LARGEST_LIST_BYTES = 4 * 1024 * 1024
FIRST_PAGE = "contents.ipynb"
BOOK = "exercise-book.ipynb"
NOT_LAID = ("progress.json", "attempts*.jsonl", "for-teachers.md", "needs.toml", "predictions.toml")
ELSEWHERE = "; name a folder that you may write to"


def course_folder(start: str | os.PathLike[str] | None = None) -> Path | None:
    """The learner's folder that this folder (the current one, unless given) lies in: the one with the course's mark.

    >>> import tempfile
    >>> course_folder(tempfile.mkdtemp()) is None
    True
    """
    try:
        folder = Path(start or Path.cwd()).resolve()
    except OSError:
        return None
    for each in (folder, *folder.parents):
        if (each / MARK / MANIFEST).is_file():
            return each
    return None


@dataclass(frozen=True)
class InstallReport:
    """What laying the lessons did, in words: one sentence for each thing that a learner may want to know.

    >>> InstallReport(Path("course"), ()).text
    'Your lessons in course are up to date.'
    """

    folder: Path
    sentences: tuple[str, ...]

    @property
    def text(self) -> str:
        """All of it, one line for each sentence."""
        return "\n".join(self.sentences) or f"Your lessons in {self.folder} are up to date."


def install_lessons(
    folder: str | os.PathLike[str], version: str, lessons: Path | None = None, *, only: str | None = None
) -> InstallReport:
    """Make the learner's own copy of the lessons, or bring it up to date; what the learner changed is never touched.

    What was laid is remembered by its digest in a hidden folder. A lesson that the learner left as it was, or only ran
    and saved, is replaced by a newer one; beside a changed one the newer is laid under a name that says so; one that is
    missing is laid again, which is how a learner gets a fresh copy. Where a lesson's number is another than it was, a
    file left as it was is renamed, and a changed one keeps its name. The exercise book is laid beside the lessons.
    `lessons` is the course's own folder unless given, and then there is no book. With `only`, lessons by number or name
    with commas between, just those are laid and listed, until "all" or others are given; none that is there is taken
    away. Raises GainError when something stands in the way or cannot be written, and for a lesson that there is not.

    >>> import tempfile
    >>> laid = install_lessons(tempfile.mkdtemp(), "0.1.0")
    >>> (laid.folder / "contents.ipynb").is_file()
    True
    """
    home = given_path(folder).expanduser()
    source = lessons or bundled_folder("lessons")
    try:
        if home.exists() and not home.is_dir():
            raise GainError(f"{home} is a file; name a folder for the course, or one that is not there yet.")
        if home.resolve() == source.resolve() or source.resolve() in home.resolve().parents:
            raise GainError(f"{home} is where the course itself lies; name another folder for your own copy.")
        mark = home / MARK
        if mark.exists() and not mark.is_dir():
            raise GainError(f"{mark} is a file and stands in the way of the course's folder of that name; move it.")
        chosen = chosen_lessons(home) if only is None else _lessons_meant(only, source)
        mark.mkdir(parents=True, exist_ok=True)
        with held_alone(mark / LOCK):  # another that lays them meanwhile would forget what was laid here
            known = _manifest(mark / MANIFEST)
            first = not known
            files = [
                (source, name)
                for name in _course_files(source)
                if not chosen or not lesson_name(name) or lesson_name(name) in chosen
            ]
            if lessons is None:  # the exercise book lies beside the exercises that it opens
                files.append((bundled_folder("exercises"), BOOK))
            course = [file.name for file in lesson_files(source).values()]
            sentences = [sentence for name in course for sentence in _renamed(home, name, known)]
            own = {name: laid_name(home, name) for name in course}
            older = {f"]({name})".encode(): f"]({mine})".encode() for name, mine in own.items() if mine != name}
            for place, name in files:
                content = (place / name).read_bytes()
                for link, mine in older.items():  # it leads to the learner's own
                    content = content.replace(link, mine)
                sentences += _laid_one(home, own.get(name, name), content, known, version, first=first)
            if first:
                sentences.insert(0, f"Your lessons are in {home}.")
            made = {"version": 1, "course": version, "lessons": list(chosen), "laid": known}
            atomic_write(mark / MANIFEST, json.dumps(made, indent=1, ensure_ascii=False) + "\n", then=ELSEWHERE)
    except OSError as fault:
        where = fault.filename or home
        raise GainError(f"{where} cannot be used ({reason_of(fault)}){ELSEWHERE}.") from fault
    return InstallReport(home, tuple(sentences))


def laid_name(home: Path, name: str) -> str:
    """The file's name in a learner's folder: for a lesson that is there under an older number only, that one's name.

    >>> laid_name(Path("no-such-folder"), "contents.ipynb")
    'contents.ipynb'
    """
    older = _with_old_number(home, name)
    return older[-1] if older and not os.path.lexists(home / name) else name


def _with_old_number(home: Path, name: str) -> list[str]:
    """What else lies there under the name of this file's lesson, with another number."""
    if not (lesson := lesson_name(name)):
        return []
    return sorted(each.name for each in home.glob("*.ipynb") if lesson_name(each.name) == lesson and each.name != name)


def _renamed(home: Path, name: str, known: dict[str, dict[str, str]]) -> list[str]:
    """Give a lesson that the learner left as it was its number of today; a sentence for each file that has it now."""
    said = []
    for older in _with_old_number(home, name):
        file = home / older
        if not file.is_file() or file.is_symlink() or not _left_as_laid(file, known.get(older, {})):
            continue
        if os.path.lexists(home / name):
            file.unlink()
            del known[older]
        else:
            file.rename(home / name)
            known[name] = known.pop(older)
        said.append(f"{older} is {name} now; you had not changed it.")
    return said


def _laid_one(
    home: Path, name: str, content: bytes, known: dict[str, dict[str, str]], version: str, *, first: bool
) -> list[str]:
    """Lay one file and remember it; the sentence that the learner should read, if any."""
    digest, target = _digest(name, content), home / name
    before = known.get(name, {})
    if not target.exists() and not target.is_symlink():
        atomic_write(target, content, make_folder=True, then=ELSEWHERE)
        known[name] = {"laid": digest, "offered": digest}
        if first:
            return []
        return [f"{name} was missing; it is laid again." if before else f"{name} is new."]
    # A link, or anything but a plain file, is the learner's own doing.
    plain = target.is_file() and not target.is_symlink()
    if plain and _digest(name, target.read_bytes()) == digest:
        known[name] = {"laid": digest, "offered": digest}
        return []
    if plain and _left_as_laid(target, before):
        atomic_write(target, content, then=ELSEWHERE)
        known[name] = {"laid": digest, "offered": digest}
        return [f"{name} is replaced by the version of gainlib {version}; you had not changed it."]
    if before.get("offered") == digest:
        return []
    beside = _beside(target, version, digest)
    if not beside.exists():
        atomic_write(beside, content, then=ELSEWHERE)
    known[name] = {"laid": before.get("laid", ""), "offered": digest}
    return [f"{name} holds your changes and stays as it is; the new version is laid beside it as {beside.name}."]


def _beside(target: Path, version: str, digest: str) -> Path:
    """A free name beside the learner's file, or the one that holds the new version already."""
    count = 1
    while True:
        again = f", {count}" if count > 1 else ""
        beside = target.with_name(f"{target.stem} (new in {version}{again}){target.suffix}")
        if not beside.exists() and not beside.is_symlink():
            return beside
        if beside.is_file() and _digest(beside.name, beside.read_bytes()) == digest:
            return beside
        count += 1


def newer_beside(home: Path, name: str) -> str:
    """The file in a learner's folder that holds the newest version of a lesson which was changed; empty for none.

    >>> newer_beside(Path("no-such-folder"), "contents.ipynb")
    ''
    """
    found = sorted(home.glob(f"{Path(name).stem} (new in *).ipynb"), key=lambda each: (each.stat().st_mtime, each.name))
    offered = _manifest(home / MARK / MANIFEST).get(name, {}).get("offered") if found else None
    as_offered = [each for each in found if _digest(name, each.read_bytes()) == offered]
    # What a learner changed as well is known by its date alone.
    return (as_offered or found)[-1].name if found else ""


def _course_files(source: Path) -> list[str]:
    found = (file.relative_to(source) for file in source.rglob("*") if file.is_file())
    return sorted(
        each.as_posix()
        for each in found
        if not any(map(each.match, NOT_LAID)) and not any(part.startswith((".", "__")) for part in each.parts)
    )


def _manifest(file: Path) -> dict[str, dict[str, str]]:
    """What was laid: name -> digests; empty where nothing was, or where the list cannot be read.

    With an empty list every file that differs counts as the learner's, so that nothing can be lost by it.
    """
    try:
        laid = read_json(file, LARGEST_LIST_BYTES, "a list of the course")["laid"]
        return {str(name): {str(key): str(value) for key, value in each.items()} for name, each in laid.items()}
    except (GainError, KeyError, TypeError, AttributeError):
        return {}


def chosen_lessons(home: Path) -> tuple[str, ...]:
    """The lessons, by name, that were picked for this folder; none for all of them, and where none can be read."""
    try:
        names = map(str, read_json(home / MARK / MANIFEST, LARGEST_LIST_BYTES, "a list of the course")["lessons"])
        return tuple(lesson_name(each) or each for each in names)  # once they were kept by the file's name
    except (GainError, KeyError, TypeError):
        return ()


def lesson_file(given: str) -> Path:
    """The notebook that is meant: a path, or a lesson of the course by its number or its name. Raises GainError.

    >>> lesson_file("0") == lesson_file("start-here") == lesson_files()["start-here"]
    True
    """
    path = Path(given)
    if path.is_file():
        return path
    files = lesson_files()
    if (name := find_lesson(given, files)) is not None:
        return files[name]
    raise GainError(
        f"there is no notebook {given!r}, and no such lesson; give a path, or a lesson's number or name: "
        f"{_listed(files)}."
    )


def _lessons_meant(only: str, source: Path) -> tuple[str, ...]:
    """The names of the lessons in a list such as "3, 04, find-clipping"; none for "all". Raises GainError."""
    if only.strip().lower() == "all":
        return ()
    files = lesson_files(source)
    meant = set()
    for each in map(str.strip, only.split(",")):
        if (name := find_lesson(each, files)) is None:
            raise GainError(
                f"there is no lesson {each!r}; give numbers or names, with commas between, or all: {_listed(files)}."
            )
        meant.add(name)
    return tuple(name for name in files if name in meant)


def _listed(files: Mapping[str, Path]) -> str:
    return ", ".join(f"{lesson_number(file.name)} {name}" for name, file in files.items())


def _left_as_laid(file: Path, before: Mapping[str, str]) -> bool:
    content = file.read_bytes()
    # Before 0.2 a notebook was remembered by its bytes as well.
    return before.get("laid") in (_digest(file.name, content), hashlib.sha256(content).hexdigest())


def _digest(name: str, content: bytes) -> str:
    """A file as one number: a notebook by what its cells say and are, whatever they showed when it was saved."""
    if name.endswith(".ipynb") and len(content) <= LARGEST_NOTEBOOK_BYTES:
        try:
            made = json_value(content.decode("utf-8"), name)
            cells = [
                [each["cell_type"], "".join(each["source"]), each["metadata"].get("tags", [])] for each in made["cells"]
            ]
            content = json.dumps([made["metadata"].get("gainlib"), cells]).encode()
        except (GainError, UnicodeDecodeError, KeyError, TypeError, AttributeError):
            pass  # no notebook that can be read: its bytes
    return hashlib.sha256(content).hexdigest()
