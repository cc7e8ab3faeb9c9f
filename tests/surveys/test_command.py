"""`gainlib survey` as a person and as a script call it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gainlib.cli import app, main

runner = CliRunner()


@pytest.fixture
def called(monkeypatch, capsys):
    """Call the command as a shell would, in this process: status, what it printed, what it complained of."""

    def call(*words):
        monkeypatch.setattr(sys, "argv", ["gainlib", "survey", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        printed = capsys.readouterr()
        return ended.value.code or 0, printed.out, printed.err

    return call


def test_words_and_files(planted, tmp_path):
    done = runner.invoke(
        app,
        ["survey", str(planted[0]), "--tempo", "120", "--sheet", str(tmp_path / "sheet.html"), "--csv",
         str(tmp_path / "table.csv"), "--write", str(tmp_path / "out"), "--word", "float"],
    )  # fmt: skip
    assert done.exit_code == 1
    words = done.stdout.split("Written:")[0].splitlines()
    assert words[-2].startswith("guitar: It is clipped")
    assert f"Written: {tmp_path / 'sheet.html'}" in done.stdout
    assert "Written: 11 trimmed copies" in done.stdout
    assert (tmp_path / "table.csv").read_text(encoding="utf-8").startswith('"stem",')
    assert len(list((tmp_path / "out").iterdir())) == 11


def test_copies_that_are_ended_while_they_are_written_are_said_to_be(called, planted, tmp_path, monkeypatch):
    def ended(*given, **named):
        raise KeyboardInterrupt

    monkeypatch.setattr("gainlib.surveys.exports.write_blocks", ended)
    status, _, complaint = called(planted[0] / "bass.wav", "--write", tmp_path / "out", "--csv", tmp_path / "a.csv")
    assert status == 2
    assert complaint == "gainlib: ended before all was written; only what is told as written is there.\n"
    assert (tmp_path / "a.csv").exists()
    assert not (tmp_path / "out").exists()


def test_nothing_is_compared_with_a_survey_that_was_ended(called, planted, tmp_path, monkeypatch):
    def ended(*given, **named):
        raise KeyboardInterrupt

    earlier = tmp_path / "earlier.json"
    earlier.write_text(called(planted[0] / "bass.wav", "--json")[1], encoding="utf-8")
    monkeypatch.setattr("gainlib.surveys.comparison.wait", ended)
    status, said, _ = called(planted[0] / "bass.wav", "--against", earlier)
    assert (status, "The comparison was ended before its end" in said) == (2, True)
    monkeypatch.setattr("gainlib.surveys.measuring.wait", ended)
    status, said, _ = called(planted[0] / "bass.wav", "--against", earlier)
    assert (status, "What has changed" in said) == (2, False)
    status, said, complaint = called(planted[0] / "bass.wav", "--against", planted[0] / "bass.wav")
    assert (status, said) == (2, "")
    assert complaint.endswith("bass.wav was ended before its end; nothing was compared.\n")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no file that is always full")
def test_json_for_which_there_is_no_room_is_refused_in_a_sentence(planted):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-c", "from gainlib.cli import main; main()", "survey", planted[0] / "bass.wav", "--json"],
            stdout=full, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr == (
        "gainlib: what is printed could not be written, no room is left there; free some, or name another file.\n"
    )


def test_faults_alone(called, planted):
    said = called(planted[0] / "guitar.wav", planted[0] / "bass.wav", "--faults")[1]
    assert "guitar: It is clipped" in said
    assert "bass: nothing" not in said


def test_json_is_all_that_a_script_gets(called, planted, tmp_path):
    status, said, aside = called(planted[0], "--json", "--sheet", tmp_path / "sheet.html")
    assert status == 1
    assert set(json.loads(said)) >= {"stems", "faults", "sum", "trims", "unreadable"}
    assert "Written" in aside
    then = tmp_path / "then.json"
    then.write_text(said, encoding="utf-8")
    assert json.loads(called(planted[0], "--json", "--against", then)[1])["changes"]["levels"] == []


def test_the_status_says_how_it_went(called, planted, tmp_path, making):
    fine = making.save(tmp_path / "fine.wav", making.noise(1, 1.0))
    assert called(fine)[0] == 0
    assert called(planted[0] / "guitar.wav")[0] == 1
    assert called(fine, tmp_path / "gone.wav")[0] == 1
    assert called(tmp_path / "gone.wav")[0] == 2
    status, _, aside = called()
    assert status == 2
    assert aside.startswith("gainlib: no stems were named")


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--word", "16"], "--word is '16'; give 24 or float."),
        (["--measure", "rms_db"], "measure is 'rms_db'; did you mean rms_dbfs?"),
        (["--sheet", "nowhere/sheet.html"], "is not there; make it first."),
        (["--against", "then.json"], "then.json is not there; check the name"),
    ],
)
def test_what_cannot_be_done_is_told_before_the_work(called, planted, options, sentence):
    status, said, aside = called(planted[0], *options)
    assert (status, said) == (2, "")
    assert sentence in aside


def test_what_stands_in_the_way_is_told_before_the_work(called, planted, tmp_path):
    (tmp_path / "sheet.html").write_text("mine")
    assert called(planted[0], "--sheet", tmp_path / "sheet.html")[:2] == (2, "")
    assert (tmp_path / "sheet.html").read_text() == "mine"
    status, said, aside = called(planted[0], "--write", planted[0], "--overwrite")
    assert (status, said) == (2, "")
    assert "originals stay" in aside


def test_two_folders_are_compared(called, planted):
    said = called(planted[0] / "bass.wav", "--against", planted[0])[1]
    assert "What has changed:" in said
    assert "No longer there: drum-top" in said


def test_the_schema_and_help(called):
    assert json.loads(called("--schema")[1])["type"] == "object"
    helped = runner.invoke(app, ["survey", "--help"])
    assert helped.exit_code == 0
    assert "Example: gainlib survey stems/" in helped.stdout


def test_a_survey_is_a_test_in_a_script(called, planted, making, tmp_path):
    folder = planted[0]
    assert called(folder / "guitar.wav", "--fail-on", "clipped")[0] == 1
    assert called(folder / "keys.wav", "--fail-on", "flat-tops, silent")[0] == 1
    # Other faults are told, and are no reason.
    status, said, _ = called(folder / "guitar.wav", "--fail-on", "silent,dc")
    assert status == 0
    assert "It is clipped" in said
    fine = making.save(tmp_path / "fine.wav", making.noise(1, 1.0))
    assert called(fine, "--fail-on", "clipped")[0] == 0
    # What could not be looked at has not passed.
    assert called(fine, tmp_path / "gone.wav", "--fail-on", "clipped")[0] == 1
    spoilt = tmp_path / "spoilt.wav"
    spoilt.write_bytes(fine.read_bytes()[:20_000])
    status, said, _ = called(fine, spoilt, "--fail-on", "silent")
    assert status == 1
    assert "spoilt.wav is truncated" in said
    # Where nothing could be looked at, nothing was done.
    assert called(spoilt, "--fail-on", "silent")[0] == 2
    status, said, aside = called(fine, "--fail-on", "cliped")
    assert (status, said) == (2, "")
    assert "--fail-on names 'cliped'; did you mean clipped?" in aside
