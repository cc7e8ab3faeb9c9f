"""The one reader of TOML and of JSON: whatever stands in a file, it gives entries that are usable or one sentence."""

from __future__ import annotations

import os

import pytest

from gainlib.errors import GainError
from gainlib.storage.foreign import describe_place, json_value, read_json, read_text, read_toml, toml_table

TOML = {
    "no TOML": ("a =", "it is not valid TOML: invalid value"),
    "an entry twice": ("a = 1\na = 2", "it is not valid TOML: cannot overwrite a value"),
    "5,000 digits": ("# one\na = " + "9" * 5000, r"it holds a number beyond all bounds \(at line 2\)"),
    "5,000 digits with dashes": ("a = " + "9_9" * 2500, r"beyond all bounds \(at line 1\)"),
    "400 digits": ("[given]\nlevel = 1" + "0" * 400, r"it holds a number beyond all bounds \(level of given\)"),
    "more than 64 bits": ("a = [1, 9223372036854775808]", r"beyond all bounds \(a 2\)"),
    "hexadecimal without end": ("a = 0x" + "f" * 50_000, r"beyond all bounds \(a\)"),
    "1e400": ("a = -1e400", "it holds a number beyond all bounds: -1e400"),
    "nested in rows": ("a = " + "[" * 100_000, "it is not valid TOML: nested too deep"),
    "nested in rows and closed": ("a = " + "[" * 70 + "]" * 70, "nested too deep"),
    "nested in tables": ("a = " + "{b=" * 100_000, "nested too deep"),
    "a key of 16,000 parts": ("a." * 16_000 + "a = 1", "nested too deep"),
    "a quoted key of 16,000 parts": ('"a" . ' * 16_000 + "a = 1", "nested too deep"),
    "a heading of 16,000 parts": ("[" + "a." * 16_000 + "a]", "nested too deep"),
    "half a character": ('a = "\\ud800"', "it is not valid TOML"),
}
JSON = {
    "cut off": ('{"a": 1,\n"b"', r"it is cut off or not JSON \(line 2\)"),
    "empty": (" \n", "it is empty"),
    "an entry twice": ('{"a": 1, "b": 2, "a": 3}', "the entry 'a' is there twice in it"),
    "NaN": ('{"a": NaN}', "it holds NaN, which is no number"),
    "infinite": ("[-Infinity]", "it holds -Infinity, which is no number"),
    "1e400": ('{"a": 1e400}', "it holds a number beyond all bounds: 1e400"),
    "5,000 digits": ('{\n"a": ' + "9" * 5000 + "}", r"beyond all bounds \(at line 2\)"),
    "400 digits": ('{"answers": [{"points": 1' + "0" * 400 + "}]}", r"beyond all bounds \(points of answer 1\)"),
    "nested": ("[" * 100_000 + "]" * 100_000, "it is nested too deep"),
    "nested a little less": ("[" * 70 + "]" * 70, "it is nested too deep"),
    "half a character": ('{"name": "A\\ud800"}', r"it holds half a character: 'A\\ud800' \(name\)"),
    "half a character in a key": ('[{"\\udfff": 1}]', r"it holds half a character: '\\udfff' \(row 1\)"),
}


@pytest.mark.parametrize("kind", TOML)
def test_toml_that_cannot_be_used_is_one_sentence(kind):
    text, says = TOML[kind]
    with pytest.raises(GainError, match=says) as told:
        toml_table(text, "it")
    assert "\n" not in str(told.value)
    assert len(str(told.value)) < 200


@pytest.mark.parametrize("kind", [kind for kind in TOML if "16,000 parts" in kind])
def test_toml_with_too_many_parts_never_reaches_the_reader_that_takes_the_square_of_them(kind, monkeypatch):
    monkeypatch.setattr("tomllib.loads", lambda *_, **__: pytest.fail("it was read"))
    with pytest.raises(GainError, match="nested too deep"):
        toml_table(TOML[kind][0], "it")


@pytest.mark.parametrize("kind", JSON)
def test_json_that_cannot_be_used_is_one_sentence(kind):
    text, says = JSON[kind]
    with pytest.raises(GainError, match=says) as told:
        json_value(text)
    assert "\n" not in str(told.value)
    assert len(str(told.value)) < 200


def test_what_is_usable_is_read_as_it_stands():
    assert toml_table("a = 9223372036854775807\nb = [-inf, 1e308]\nc.d = 'x'", "it") == {
        "a": 2**63 - 1,
        "b": [float("-inf"), 1e308],
        "c": {"d": "x"},
    }
    assert json_value('{"a": ["\\ud83e\\udd41", -9223372036854775808, 0.5, null]}') == {
        "a": ["\N{DRUM WITH DRUMSTICKS}", -(2**63), 0.5, None]
    }
    assert json_value("[" * 60 + "]" * 60)
    assert toml_table("[" + ".".join("abcdefghij" * 6) + "]", "it")


def test_a_long_text_is_no_dotted_key():
    assert toml_table('a = "' + "x" * 200_000 + '"\nb = "' + "y " * 50_000 + '"', "it").keys() == {"a", "b"}


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"\xff\xfe", r"list.toml is not UTF-8 text \(byte 0\); save it as UTF-8"),
        (b"#" * 2048, "list.toml is larger than 1 kB, the most that a list may have"),
    ],
)
def test_a_file_that_is_no_text_or_too_large_is_one_sentence(tmp_path, content, says):
    (tmp_path / "list.toml").write_bytes(content)
    for reader in (read_text, read_toml, read_json):
        with pytest.raises(GainError, match=says):
            reader(tmp_path / "list.toml", 1024, "a list")


def test_a_mark_of_utf_8_at_the_start_is_no_part_of_the_text(tmp_path):
    (tmp_path / "list.toml").write_bytes(b"\xef\xbb\xbfa = 1\r\n")
    assert read_toml(tmp_path / "list.toml", 1024, "a list") == {"a": 1}


@pytest.mark.parametrize("name", ["x" * 5000, "y\0z", "folder", "pipe"])
def test_what_is_no_file_is_one_sentence(tmp_path, name):
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(GainError, match="cannot be read") as told:
        read_text(os.path.join(tmp_path, name), 1024, "a list")
    assert len(str(told.value)) < 500


def test_a_place_is_told_in_words():
    assert describe_place(("buses", 1, "sends", 0, "to")) == "to of send 1 of bus 2"
    assert describe_place((2, "name")) == "name of row 3"
