"""A file is written whole or not at all, with the access that was asked for, and nobody writes one otherwise."""

from __future__ import annotations

import ast
import os
import stat
from pathlib import Path

import pytest

import gainlib
from gainlib.errors import GainError
from gainlib.storage import atomic_files, atomic_path, atomic_write

PACKAGE = Path(gainlib.__file__).parent
posix = pytest.mark.skipif(os.name == "nt", reason="file modes are a matter of POSIX")


@pytest.fixture(params=[0o022, 0o027, 0o077, 0o002])
def umask(request):
    before = os.umask(request.param)
    yield request.param
    os.umask(before)


@posix
def test_a_file_gets_the_access_that_the_umask_leaves_or_its_owners_alone(tmp_path, umask):
    for name, private, wanted in (("shared", False, 0o666 & ~umask), ("own", True, 0o600 & ~umask)):
        path = atomic_write(tmp_path / name, "text", private=private)
        assert stat.S_IMODE(path.stat().st_mode) == wanted
        path = atomic_write(path, "again", private=private)
        assert stat.S_IMODE(path.stat().st_mode) == wanted
    assert os.umask(umask) == umask


@posix
def test_what_was_open_to_all_is_its_owners_alone_once_it_is_private(tmp_path):
    path = tmp_path / "key"
    path.touch(0o644)
    atomic_write(path, "secret", private=True)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


@posix
def test_what_is_shared_can_be_read_by_others_whatever_the_umask(tmp_path, umask):
    path = atomic_write(tmp_path / "hand-in", "text", shared=True)
    assert stat.S_IMODE(path.stat().st_mode) == 0o644


def test_texts_and_bytes_stand_as_they_were_given(tmp_path):
    assert atomic_write(tmp_path / "a", "one\nzwei\r\nдва").read_bytes() == "one\nzwei\r\nдва".encode()
    assert atomic_write(tmp_path / "a", b"\x00\xff").read_bytes() == b"\x00\xff"


def test_a_folder_is_made_only_where_asked(tmp_path):
    with pytest.raises(GainError, match=r"a/b/c cannot be written \(no such file or directory\)\."):
        atomic_write(tmp_path / "a" / "b" / "c", "x")
    assert list(tmp_path.iterdir()) == []
    assert atomic_write(tmp_path / "a" / "b" / "c", "x", make_folder=True).read_text() == "x"


@pytest.mark.parametrize("fault", [OSError(28, "No space left on device"), KeyboardInterrupt(), ValueError("odd")])
@pytest.mark.parametrize("there", [True, False])
def test_what_fails_half_way_leaves_what_was_there_and_nothing_else(tmp_path, fault, there):
    path = tmp_path / "take.txt"
    if there:
        path.write_text("before")
    with pytest.raises(GainError if isinstance(fault, OSError) else type(fault)):
        write_half(path, fault)
    assert [each.read_text() for each in tmp_path.iterdir()] == (["before"] if there else [])


def write_half(path, fault):
    with atomic_path(path) as half:
        half.write_text("half")
        raise fault


def test_a_file_in_the_place_of_a_folder_to_be_made_is_named(tmp_path):
    (tmp_path / "a").touch()
    with pytest.raises(GainError, match=rf"^{tmp_path}/a cannot be made \(file exists\); move it\.$"):
        atomic_write(tmp_path / "a" / "c", "x", make_folder=True, then="; move it")


def test_the_sentence_names_the_file_that_was_meant_and_the_systems_reason(tmp_path, monkeypatch):
    (tmp_path / "folder.txt").mkdir()
    with pytest.raises(GainError, match=r"/folder.txt cannot be written \(is a directory\); name another\.$") as told:
        atomic_write(tmp_path / "folder.txt", "x", then="; name another")
    assert ".half" not in str(told.value)

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("gainlib.storage.atomic.os.fsync", full)
    with pytest.raises(GainError, match=rf"^{tmp_path}/note cannot be written \(no space left on device\)\.$"):
        atomic_write(tmp_path / "note", "x")
    assert [each.name for each in tmp_path.iterdir()] == ["folder.txt"]


def test_a_name_as_long_as_the_system_takes_is_written(tmp_path):
    assert atomic_write(tmp_path / ("n" * 251 + ".txt"), "x").read_text() == "x"


def test_a_file_is_on_the_disk_before_it_takes_its_place(tmp_path, monkeypatch):
    order = []
    sync, replace = os.fsync, os.replace
    monkeypatch.setattr("gainlib.storage.atomic.os.fsync", lambda handle: (order.append("sync"), sync(handle)))
    monkeypatch.setattr("gainlib.storage.atomic.os.replace", lambda *each: (order.append("replace"), replace(*each)))
    atomic_write(tmp_path / "note", "x")
    assert order == ["sync", "replace"]


def test_files_take_their_places_together_or_not_at_all(tmp_path):
    out = tmp_path / "out"
    with pytest.raises(GainError, match=r"out cannot be written to \(no space left on device\); choose another"):
        fill(out, OSError(28, "No space left on device"))
    assert not out.exists()
    with pytest.raises(KeyboardInterrupt):
        fill(out, KeyboardInterrupt())
    assert not out.exists()
    fill(out, None)
    assert sorted(each.name for each in out.iterdir()) == ["a.txt", "b.txt"]
    with pytest.raises(GainError, match=r"nowhere/out cannot be written to \(no such file or directory\)"):
        fill(tmp_path / "nowhere" / "out", None)


def fill(out, fault):
    with atomic_files(out, then="; choose another") as half:
        atomic_write(half / "a.txt", "one")
        atomic_write(half / "b.txt", "two")
        if fault:
            raise fault


def test_one_of_several_files_is_told_by_its_place_and_not_by_that_of_its_half(tmp_path):
    with (
        pytest.raises(GainError, match=rf"^{tmp_path}/out/deep/a.txt cannot be written"),
        atomic_files(tmp_path / "out") as half,
    ):
        atomic_write(half / "deep" / "a.txt", "one")


# (file, call): why it may write for itself
WRITES_FOR_ITSELF = {
    ("learners/start_file.py", "half.open"): "into the path that atomic_path gives",
    ("sound_file.py", "soundfile.SoundFile"): "into the path that atomic_path gives",
    ("state.py", "tempfile.mkdtemp"): "a folder for this run alone, where this user has none that is private",
    (
        "learners/hub_server.py",
        "shutil.copytree",
    ): "compiled loops, into the learner's own state; a broken one is made anew",
    ("learners/jupyter_server.py", "log.open"): "what a running server says is read while it is written",
    ("page/build_hook.py", "laid.write_text"): "into a folder of the build's own, which packs it and takes it away",
    ("broadcast.py", "path.open"): "into the path that atomic_path gave the writer of the sound",
    ("surveys/inventory.py", "(half / FILES[0]).write_bytes"): "into the folder that atomic_files gives",
    ("surveys/inventory.py", "(half / FILES[1]).write_text"): "into the folder that atomic_files gives",
    ("surveys/inventory.py", "(half / FILES[2]).write_text"): "into the folder that atomic_files gives",
}
ALWAYS = {"write_text", "write_bytes", "mkstemp", "mkdtemp", "NamedTemporaryFile", "symlink_to", "hardlink_to"}
BY_LIBRARY = {
    *("os.replace", "os.rename", "os.renames", "os.open", "os.fdopen", "os.link", "soundfile.write"),
    *("xlsxwriter.Workbook", "shutil.copy", "shutil.copy2", "shutil.copyfile", "shutil.copytree", "shutil.move"),
    *("np.save", "np.savetxt", "np.savez", "json.dump", "pickle.dump"),
}


def writes_in(source: str) -> set[str]:
    """The calls in a source that write, move or copy a file."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        called = ast.unparse(node.func)
        last = called.rpartition(".")[2]
        given = [*node.args, *(each.value for each in node.keywords if each.arg == "mode")]
        modes = [each.value for each in given if isinstance(each, ast.Constant) and isinstance(each.value, str)]
        opens = last in ("open", "SoundFile") and any(
            set(mode) <= set("rwxabt+") and set(mode) & set("wxa+") for mode in modes
        )
        if opens or last in ALWAYS or called in BY_LIBRARY:
            found.add(called)
    return found


def test_nobody_else_in_the_package_writes_a_file():
    found = set()
    for path in sorted(PACKAGE.rglob("*.py")):
        place = path.relative_to(PACKAGE).as_posix()
        if not place.startswith(("storage/", "_course/")):
            found |= {(place, called) for called in writes_in(path.read_text(encoding="utf-8"))}
    assert found == set(WRITES_FOR_ITSELF)


@pytest.mark.parametrize(
    ("source", "called"),
    [
        ('open("a", "w")', "open"),
        ('open("a", mode="ab")', "open"),
        ('path.open("x", encoding="utf-8")', "path.open"),
        ('path.open("r+b")', "path.open"),
        ('path.write_text("x")', "path.write_text"),
        ('(folder / "a").write_bytes(b"x")', "(folder / 'a').write_bytes"),
        ("os.replace(a, b)", "os.replace"),
        ("tempfile.mkstemp()", "tempfile.mkstemp"),
        ("tempfile.NamedTemporaryFile(dir=folder)", "tempfile.NamedTemporaryFile"),
    ],
)
def test_the_test_above_sees_each_way_to_write(source, called):
    assert writes_in(source) == {called}


@pytest.mark.parametrize("source", ['path.open("rb")', "path.open()", 'open("water")', 'text.replace("a", "b")'])
def test_the_test_above_lets_be_what_writes_nothing(source):
    assert writes_in(source) == set()
