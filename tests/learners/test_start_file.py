"""A start file from anybody: what it lists is laid and nothing else, and each thing wrong with it is one sentence."""

from __future__ import annotations

import hashlib
import stat
import zipfile
from pathlib import Path

import pytest

from gainlib.errors import GainError
from gainlib.learners import start_file
from gainlib.learners.enrolment import enrol
from gainlib.learners.start_file import fault_of_path, pack, read_start_file

OWN = b"an exercise, as far as an archive knows"
TAKE = b"RIFF a recording"
HELD = {"levels/own.toml": OWN, "levels/takes/one.wav": TAKE}


def class_text(held=HELD, exercise='{ name = "levels/own", file = "levels/own.toml" }', more=""):
    files = [
        f'{{ path = "{path}", bytes = {len(content)}, sha256 = "{hashlib.sha256(content).hexdigest()}" }}'
        for path, content in held.items()
    ]
    return (
        'schema = "gainlib class for learners"\nversion = 2\ntitle = "Group A"\nkey = "a key for these tests 1812"\n'
        f"{more}exercises = [ {exercise} ]\nfiles = [ {', '.join(files)} ]\n"
    )


def packed(folder: Path, text=None, members=None) -> Path:
    """A start file as its module describes it, made by Python's own writer of archives."""
    file = folder / "group-a.gainclass"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("class.toml", class_text() if text is None else text)
        inside = {f"exercises/{path}": content for path, content in HELD.items()} if members is None else members
        for name, content in inside.items():
            archive.writestr(name, content)
    return file


def files_in(folder):
    return {each.relative_to(folder).as_posix(): each.read_bytes() for each in folder.rglob("*") if each.is_file()}


def test_what_it_lists_is_laid_for_the_learner_alone_and_nothing_else(tmp_path):
    read_start_file(packed(tmp_path)).lay(tmp_path / "laid")
    assert files_in(tmp_path / "laid") == HELD
    assert all(each.stat().st_mode & 0o077 == 0 for each in (tmp_path / "laid").rglob("*") if each.is_file())


def test_what_a_learner_spoiled_is_laid_again(tmp_path):
    found = read_start_file(packed(tmp_path))
    found.lay(tmp_path / "laid")
    (tmp_path / "laid" / "levels" / "own.toml").write_text("short")
    (tmp_path / "laid" / "levels" / "takes" / "one.wav").unlink()
    found.lay(tmp_path / "laid")
    assert files_in(tmp_path / "laid") == HELD


def test_what_pack_writes_is_read_again_and_named_by_the_class_and_its_files(tmp_path):
    for path, content in HELD.items():
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_bytes(content)
    file = pack(tmp_path / "b.gainclass", class_text(), {path: tmp_path / path for path in HELD})
    with zipfile.ZipFile(file) as archive:
        assert archive.namelist() == ["class.toml", "exercises/levels/own.toml", "exercises/levels/takes/one.wav"]
    read_start_file(file).lay(tmp_path / "laid")
    assert files_in(tmp_path / "laid") == HELD


BAD_PATHS = {
    "../../evil.toml": "leads out of the folder",
    "/etc/x.toml": "leads out of the folder",
    "levels//x.toml": "leads out of the folder",
    "levels/./x.toml": "leads out of the folder",
    "x.toml": "names no folder",
    "c:/x.toml": "has a sign that not every computer takes",
    "levels\\\\x.toml": "has a sign",
    "levels/con.toml": "has a name that not every computer takes",
    "levels./x.toml": "has a name that not every computer takes",
    ".hidden/x.toml": "has a name that not every computer takes",
    "levels/run.py": "is neither an exercise nor a recording",
    "levels/page.ipynb": "is neither an exercise nor a recording",
    "levels/x": "is neither an exercise nor a recording",
}


@pytest.mark.parametrize("path", BAD_PATHS)
def test_a_path_that_leads_elsewhere_or_names_what_might_be_run_is_refused(tmp_path, path):
    real = path.replace("\\\\", "\\")
    file = packed(tmp_path, class_text({**HELD, path: b"x"}), {f"exercises/{real}": b"x"})
    with pytest.raises(GainError, match=f"group-a.gainclass cannot be used: .*{BAD_PATHS[path]}"):
        enrol(tmp_path / "course", file, "ada")
    assert not (tmp_path / "course").exists()
    assert fault_of_path(real)


@pytest.mark.parametrize("name", ["../../evil", "levels/con", "/x/y", "levels/a:b"])
def test_nor_may_an_exercise_be_called_so_since_a_page_is_laid_under_its_name(tmp_path, name):
    file = packed(tmp_path, class_text({}, f'{{ name = "{name}" }}'), {})
    with pytest.raises(GainError, match="group-a.gainclass cannot be used: its path"):
        enrol(tmp_path / "course", file, "ada")
    assert not (tmp_path / "course").exists()


def test_what_is_not_listed_is_refused_whatever_it_is(tmp_path):
    members = {f"exercises/{path}": content for path, content in HELD.items()} | {"exercises/levels/conftest.py": b"1"}
    with pytest.raises(GainError, match="'exercises/levels/conftest.py' lies in it and is not in its list"):
        read_start_file(packed(tmp_path, members=members))


@pytest.mark.parametrize(
    ("members", "said"),
    [
        ({"exercises/levels/own.toml": OWN}, "is damaged: 'exercises/levels/takes/one.wav' is missing in it"),
        ({"exercises/levels/own.toml": b"x", "exercises/levels/takes/one.wav": TAKE}, "has another size than it says"),
    ],
)
def test_what_lacks_something_or_has_another_size_is_damaged(tmp_path, members, said):
    with pytest.raises(GainError, match=f"{said}.*ask your teacher to give it to you again"):
        read_start_file(packed(tmp_path, members=members))


def test_what_has_other_content_than_its_checksum_is_not_laid(tmp_path):
    members = {"exercises/levels/own.toml": OWN[::-1], "exercises/levels/takes/one.wav": TAKE}
    with pytest.raises(GainError, match="'levels/own.toml' in it is not what it was"):
        enrol(tmp_path / "course", packed(tmp_path, members=members), "ada")
    assert not list((tmp_path / "course").rglob("own.toml"))
    assert not (tmp_path / "course" / ".gainlib" / "class.json").exists()


def test_a_flipped_bit_anywhere_is_told_or_does_no_harm(tmp_path):
    good = packed(tmp_path).read_bytes()
    told = 0
    for place in range(0, len(good), 7):
        file = tmp_path / "bad.gainclass"
        file.write_bytes(good[:place] + bytes([good[place] ^ 0x10]) + good[place + 1 :])
        laid = tmp_path / f"laid-{place}"
        try:
            read_start_file(file).lay(laid)
        except GainError as fault:
            told += "\n" not in str(fault)
            continue
        assert files_in(laid) == HELD
    assert told > 20


def test_a_link_or_a_locked_member_is_refused(tmp_path):
    file = packed(tmp_path)
    link = zipfile.ZipInfo("exercises/levels/own.toml")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("class.toml", class_text({"levels/own.toml": b"/etc/passwd"}))
        archive.writestr(link, b"/etc/passwd")
    with pytest.raises(GainError, match="is locked or a link"):
        read_start_file(file)


def test_one_member_twice_is_refused_also_where_only_some_systems_take_them_for_one(tmp_path):
    members = {"exercises/levels/own.toml": OWN, "exercises/levels/OWN.toml": OWN}
    with pytest.raises(GainError, match="holds 'exercises/levels/own.toml' twice"):
        read_start_file(packed(tmp_path, members=members))


def test_it_is_bounded_in_size_and_in_number(tmp_path, monkeypatch):
    big = class_text({"levels/own.toml": OWN}).replace(f"bytes = {len(OWN)}", "bytes = 65537")
    with pytest.raises(GainError, match="'levels/own.toml' has more than 64 kB"):
        read_start_file(packed(tmp_path, big, {"exercises/levels/own.toml": OWN}))
    monkeypatch.setattr(start_file, "MOST_FILES", 1)
    with pytest.raises(GainError, match="holds 3 files, more than a start file may"):
        read_start_file(packed(tmp_path))
    monkeypatch.setattr(start_file, "_MOST_DIRECTORY_BYTES", 100)
    with pytest.raises(GainError, match="holds more files than a start file may"):
        read_start_file(packed(tmp_path))
    monkeypatch.setattr(start_file, "LARGEST_BYTES", 300)
    with pytest.raises(GainError, match="is larger than"):
        read_start_file(packed(tmp_path))


def test_a_member_that_unpacks_to_more_than_it_says_ends_there(tmp_path):
    """The sizes in an archive are written twice, and neither is to be believed."""
    content = b"0" * 100_000
    file = packed(tmp_path, class_text({"levels/own.toml": b"0" * 1000}), {"exercises/levels/own.toml": content})
    raw = file.read_bytes()
    file.write_bytes(raw.replace((100_000).to_bytes(4, "little"), (1000).to_bytes(4, "little")))
    with pytest.raises(GainError, match="is damaged"):
        read_start_file(file).lay(tmp_path / "laid")
    assert files_in(tmp_path / "laid") == {}


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is no start file of a class, or it came cut off"),
        (b"hello", "is no start file of a class"),
        (b"PK\x03\x04" + bytes(40), "is damaged or cut off"),
    ],
)
def test_what_is_no_archive_is_told(tmp_path, content, said):
    (tmp_path / "x.gainclass").write_bytes(content)
    with pytest.raises(GainError, match=f"x.gainclass {said}.*ask your teacher"):
        read_start_file(tmp_path / "x.gainclass")


def test_a_cut_off_download_is_told_at_every_length(tmp_path):
    good = packed(tmp_path).read_bytes()
    for end in range(5, len(good), 41):
        (tmp_path / "x.gainclass").write_bytes(good[:end])
        with pytest.raises(GainError, match="x.gainclass is damaged or cut off; ask your teacher"):
            read_start_file(tmp_path / "x.gainclass")


def test_another_archive_and_a_folder_are_told(tmp_path):
    with zipfile.ZipFile(tmp_path / "x.gainclass", "w") as archive:
        archive.writestr("word/document.xml", "x")
    with pytest.raises(GainError, match="is an archive, but no start file of a class"):
        read_start_file(tmp_path / "x.gainclass")
    with pytest.raises(GainError, match="is no file; give the start file of your class"):
        read_start_file(tmp_path)


def test_a_learners_file_of_an_earlier_gainlib_is_told_with_what_to_ask_for(tmp_path):
    file = tmp_path / "group-a-for-learners.toml"
    file.write_text(class_text({}, '{ name = "recording/leave-room" }'))
    with pytest.raises(GainError, match=r"of an earlier gainlib; ask your teacher for the one with \.gainclass"):
        read_start_file(file)
