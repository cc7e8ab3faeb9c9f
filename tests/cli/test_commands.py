"""The commands as a terminal meets them: plain sentences, statuses 0, 1 and 2, no traceback."""

from __future__ import annotations

import functools
import gc
import json
import os
import re
import subprocess
import sys
import threading
import types
from pathlib import Path

import pytest

import gainlib
from gainlib.authoring import claims
from gainlib.cli import installation, setup
from gainlib.exercises import load
from gainlib.storage import lesson_files


def test_the_version_is_printed(run):
    assert run("--version") == (0, f"gainlib {gainlib.__version__}\n", "")


@pytest.mark.parametrize("command", ["open", "check-setup", "prove", "new-exercise"])
def test_each_command_has_help_with_an_example(run, command):
    status, out, _ = run(command, "--help")
    assert status == 0
    assert f"Example: gainlib {command}" in out


@pytest.mark.parametrize(("option", "wants"), [([], (False, False)), (["--answers"], (False, True))])
def test_a_page_of_a_lesson_is_written_by_its_name_for_learners_or_with_all_answers(run, monkeypatch, option, wants):
    def written(lesson, page, *, overwrite, answers):
        return lesson.name, (overwrite, answers)

    monkeypatch.setattr("gainlib.html.lesson_page.lesson_page", written)
    status, out, _ = run("lesson-page", "find-clipping", "page.html", *option)
    assert (status, out) == (0, f"Written: {(lesson_files()['find-clipping'].name, wants)}\n")


def test_an_unknown_command_ends_with_2(run):
    status, _, err = run("opne")
    assert status == 2
    assert "opne" in err


def test_a_file_in_the_way_is_one_sentence_and_2(run, tmp_path):
    (tmp_path / "file").write_text("x")
    status, _, err = run("open", str(tmp_path / "file"), "--no-browser")
    assert status == 2
    assert (
        err == f"gainlib: {tmp_path / 'file'} is a file; name a folder for the course, or one that is not there yet.\n"
    )


def test_an_odd_name_is_refused_before_anything_is_laid(run, tmp_path):
    status, _, err = run("open", str(tmp_path / "own"), "--name", "a\nb")
    assert (status, err.startswith("gainlib: --name is 'a\\nb'")) == (2, True)
    assert not (tmp_path / "own").exists()


def test_a_port_in_use_is_told(run, tmp_path):
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        port = taken.getsockname()[1]
        status, _, err = run("open", str(tmp_path / "own"), "--no-browser", "--port", str(port))
    assert status == 2
    assert f"port {port} is in use" in err


def test_a_free_port_is_in_nobodys_use(monkeypatch):
    import random
    import socket

    from gainlib.learners.jupyter_server import free_port

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        first, free = taken.getsockname()[1], free_port()
        monkeypatch.setattr(random, "sample", lambda ports, count: [first, free])
        assert free_port() == free


def test_a_server_that_does_not_start_is_one_sentence(run, tmp_path, monkeypatch):
    command = [sys.executable, "-c", "import sys; print('first', flush=True); sys.exit('the reason.')"]
    monkeypatch.setattr("gainlib.learners.jupyter_server.server_command", lambda folder, port: command)
    status, _, err = run("open", str(tmp_path / "own"), "--no-browser")
    assert status == 2
    assert err == "gainlib: JupyterLab did not start (the reason); `gainlib check-setup` may say why.\n"


def test_check_setup_finds_this_computer_in_order(run, monkeypatch, tmp_path):
    bin_folder = os.path.dirname(sys.executable)
    roundabout = os.path.join(bin_folder, os.pardir, os.path.basename(bin_folder), os.path.basename(sys.executable))
    monkeypatch.setattr(sys, "executable", roundabout)  # as it is where it was typed so
    monkeypatch.setattr(setup, "pictures", None)  # seen in the kernel, whose libraries are open anyway
    without_numba = f"({setup.IN_KERNEL['pictures']}, 1 / ('numba.core' not in sys.modules))[0]"
    monkeypatch.setattr(setup, "IN_KERNEL", setup.IN_KERNEL | {"pictures": without_numba})
    status, out, _ = run("check-setup", str(tmp_path), "--json")
    content = json.loads(out)
    assert (status, content["works"]) == (0, True), content
    assert [each["what"] for each in content["findings"]] == [
        "Python",
        "packages",
        "sound files",
        "port",
        "folder",
        "compiled loops",
        "course material",
        "widgets",
        "pictures",
        "kernel",
    ]


def test_check_setup_looks_for_no_memory_to_take_back_while_it_works(run, monkeypatch):
    monkeypatch.setattr(setup, "findings", lambda folder: [setup.Finding("gc", gc.isenabled(), "") for _ in "x"])
    status, out, _ = run("check-setup")
    assert (status, "gc" in out, gc.isenabled()) == (1, True, True)  # told as a fault: it is not enabled


@pytest.fixture
def quick_looks(monkeypatch):
    """The looks that take seconds find everything in order."""
    for name in ("kernel", "widgets", "material", "compiled_loops", "pictures"):
        found = setup.Finding(name, True, "left out here")
        monkeypatch.setattr(setup, name, lambda *told, found=found: found)


def test_check_setup_tells_a_fault_with_what_to_do_and_ends_with_1(run, tmp_path, quick_looks):
    (tmp_path / "file").write_text("x")
    status, out, _ = run("check-setup", str(tmp_path / "file"))
    assert status == 1
    words = " ".join(out.split())
    assert "is a file. What to do: Name a folder: gainlib check-setup FOLDER" in words
    assert "1 thing to see to." in words


def test_a_look_that_breaks_hides_no_other(monkeypatch, tmp_path, quick_looks):
    def broken():
        raise RuntimeError("first line\nsecond line")

    monkeypatch.setattr(setup, "sound_files", broken)
    found = {each.what: each for each in setup.findings(tmp_path)}
    assert len(found) == 10
    assert found["sound files"].said == "Could not be looked at (RuntimeError: first line)."
    assert [what for what, each in found.items() if not each.works] == ["sound files"]


def test_what_is_known_is_told_before_the_slow_looks_are_done(monkeypatch, tmp_path, quick_looks):
    told = threading.Event()

    def waits():
        assert told.wait(60)
        return setup.Finding("widgets", True, "at last")

    monkeypatch.setattr(setup, "widgets", waits)
    found = setup.findings(tmp_path)
    assert next(found).what == "Python"
    told.set()
    assert [each.said for each in found if each.what == "widgets"] == ["at last"]


def test_a_slow_computer_is_called_slow_and_nothing_is_to_be_installed(run, monkeypatch, tmp_path, quick_looks):
    monkeypatch.undo()
    monkeypatch.setattr(setup, "LONGEST_SECONDS", 0.01)
    for name in ("material", "compiled_loops", "pictures"):
        monkeypatch.setattr(setup, name, functools.partial(setup.Finding, name, True, "left out here"))
    status, out, _ = run("check-setup", tmp_path)
    lines = [line for line in out.splitlines() if re.match(r"slow +(widgets|kernel)", line)]
    words = " ".join(out.split())
    assert (status, len(lines), words.count("this computer is busy or slow; nothing is known to be wrong")) == (1, 2, 2)
    assert words.count("What to do: Wait until other programs are done, then: gainlib check-setup") == 2
    for wrong in ("FAULT", "install", "import", "Timeout", "Command"):
        assert wrong not in out
    assert words.endswith("2 things to see to.")


def test_a_picture_that_cannot_be_drawn_is_named(monkeypatch):
    from gainlib.views import Strips, Waveform

    def figure(self, rendering):
        raise RuntimeError("Expected line_dash to reference fields\nin the source")

    monkeypatch.setattr("gainlib.views.views", lambda: {"waveform": Waveform, "strips": Strips})
    assert setup.pictures().works
    monkeypatch.setattr(Waveform, "figure", figure)
    found = setup.pictures()
    assert not found.works
    assert found.said == "The picture 'waveform' cannot be drawn (Expected line_dash to reference fields)."
    assert "bokeh" in found.todo


CHECKOUT = '{"url": "file:///srv/gain%20lib", "dir_info": {"editable": true}}'
WHEEL = '{"url": "file:///srv/gainlib-1-py3-none-any.whl", "archive_info": {}}'


@pytest.mark.parametrize(
    ("installer", "origin", "line"),
    [
        ("pip", None, "/py -m pip install --force-reinstall gainlib"),
        ("uv", None, "uv pip install --python /py --reinstall gainlib"),
        ("pip", CHECKOUT, 'in the folder "/srv/gain lib", /py -m pip install -e .'),
        ("uv", CHECKOUT, 'in the folder "/srv/gain lib", uv pip install --python /py -e .'),
        ("pip", WHEEL, "/py -m pip install --force-reinstall /srv/gainlib-1-py3-none-any.whl"),
        # A wheel that was thrown away since can be had from the index only.
        ("pip", WHEEL.replace("/srv", "/gone"), "/py -m pip install --force-reinstall gainlib"),
    ],
)
def test_the_advice_fits_how_gainlib_was_installed(monkeypatch, installer, origin, line):
    texts = {"INSTALLER": f"{installer}\n", "direct_url.json": origin}
    monkeypatch.setattr(
        installation.importlib.metadata, "distribution", lambda name: types.SimpleNamespace(read_text=texts.get)
    )
    monkeypatch.setattr(installation.importlib.util, "find_spec", lambda name: object())
    monkeypatch.setattr(sys, "executable", "/py")
    there = lambda path: str(path).startswith("/srv")  # noqa: E731
    monkeypatch.setattr(installation.os.path, "exists", there)
    monkeypatch.setattr(installation.Path, "is_dir", there)
    assert installation.install_again() == f"Install gainlib again: {line}"


def test_a_python_that_is_too_old_is_a_fault(monkeypatch):
    monkeypatch.setattr("platform.python_version", lambda: "3.10.14")
    found = setup.python_version()
    assert not found.works
    assert "3.10.14" in found.said
    assert ">=3.11" in found.said


def test_packages_that_are_missing_or_too_old_are_named(monkeypatch):
    import importlib.metadata

    real = importlib.metadata.version

    def version(name):
        if name == "bokeh":
            raise importlib.metadata.PackageNotFoundError(name)
        return "0.11.0" if name == "soundfile" else real(name)

    monkeypatch.setattr(importlib.metadata, "version", version)
    found = setup.packages()
    assert not found.works
    assert re.search(r"bokeh is missing, >=\d[\d.]* is wanted", found.said)
    assert re.search(r"soundfile is 0\.11\.0, >=0\.\d[\d.]* is wanted", found.said)
    assert '"bokeh" "soundfile"' in found.todo


def test_widgets_that_are_disabled_or_not_found_are_a_fault(tmp_path, monkeypatch):
    environment = setup.jupyter_environment(tmp_path)
    page = tmp_path / "config" / "labconfig" / "page_config.json"
    disabled = json.loads(page.read_text())["disabledExtensions"]
    page.write_text(json.dumps({"disabledExtensions": disabled | {"anywidget": True}}))
    disabled = setup.widgets_in(environment)
    assert (disabled.works, disabled.said) == (False, "The extension anywidget is disabled in JupyterLab.")
    monkeypatch.setitem(setup.EXTENSIONS, "another", "another-extension")
    page.unlink()
    assert "does not find the extension another-extension" in setup.widgets_in(environment).said


def test_extensions_are_seen_as_jupyterlab_sees_them(tmp_path, monkeypatch):
    """JupyterLab's own answer is the measure: settings of each kind, and an extension that disables another."""
    layers = {
        "lab/settings/page_config.json": {"disabledExtensions": ["by-app", "taken-back"]},
        "config/labconfig/page_config.json": {"disabledExtensions": {"by-user": True, "taken-back": False}},
        "config/labconfig/page_config.d/one.json": {"disabledExtensions": {"by-part": True, "loud": True}},
        "data/labextensions/plain/package.json": {"name": "plain", "version": "1"},
        "data/labextensions/@some/one/package.json": {
            "name": "@some/one", "version": "1",
            "jupyterlab": {"_build": {"load": "x"}, "disabledExtensions": ["by-other"]},
        },
        "data/labextensions/loud/package.json": {
            "name": "loud", "version": "1",
            "jupyterlab": {"_build": {"load": "x"}, "disabledExtensions": ["by-disabled"]},
        },
    }  # fmt: skip
    for name, content in layers.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(json.dumps(content))
    monkeypatch.setenv("JUPYTERLAB_DIR", str(tmp_path / "lab"))
    monkeypatch.setenv("JUPYTER_CONFIG_DIR", str(tmp_path / "config"))
    monkeypatch.setenv("JUPYTER_DATA_DIR", str(tmp_path / "data"))
    theirs = """
import json, os
from jupyter_core.paths import jupyter_path
from jupyterlab.commands import get_app_dir
from jupyterlab_server.config import get_federated_extensions, get_page_config

places = jupyter_path("labextensions")
page = get_page_config(places, os.path.join(get_app_dir(), "settings"))
print(json.dumps([sorted(get_federated_extensions(places)), sorted(page.get("disabledExtensions", []))]))
"""
    answers = [
        json.loads(subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout)
        for code in (theirs, setup.EXTENSIONS_SEEN)
    ]
    assert answers[1] == answers[0]
    assert {"by-app", "by-user", "by-part", "by-other", "loud"} <= set(answers[1][1])
    assert not {"by-disabled", "taken-back"} & set(answers[1][1])


def test_pictures_are_seen_here_where_the_kernel_does_not_tell_of_them(monkeypatch):
    found = setup.Finding("pictures", True, "seen here")
    monkeypatch.setattr(setup, "pictures", lambda: found)
    monkeypatch.setattr(setup, "IN_KERNEL", setup.IN_KERNEL | {"pictures": "1 / 0"})
    there = setup.in_kernel()
    assert [each.said for each in there] == [
        "seen here",
        "A notebook's kernel starts with this Python and this gainlib.",
    ]


def test_sound_files_that_come_back_changed_are_a_fault(monkeypatch):
    real = setup.read
    halved = lambda path: setup.Audio(real(path).samples / 2, 48_000)  # noqa: E731
    monkeypatch.setattr(setup, "read", halved)
    assert not setup.sound_files().works


def test_what_compiles_behind_the_first_page_leaves_no_loop_for_a_lesson():
    from gainlib.cli.meanwhile import COMPILE_LOOPS
    from gainlib.loops import numpy_loops

    # A loop that was called has its compiled form, whether it was compiled now or had been kept.
    tell = """
from gainlib.loops import numba_loops
print(*(name for name, each in vars(numba_loops).items() if getattr(each, "signatures", ())))
"""
    code = f"{COMPILE_LOOPS}\n{tell}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert set(numpy_loops.__all__) <= set(done.stdout.split())


def test_without_numba_the_stand_in_is_told_and_is_no_fault(monkeypatch):
    from gainlib.loops import numpy_loops

    monkeypatch.setattr(setup.fast_loops, "backend", lambda: numpy_loops)
    found = setup.compiled_loops()
    assert found.works
    assert "stand-in" in found.said


def test_material_that_is_missing_is_a_fault(monkeypatch, tmp_path):
    monkeypatch.setattr(setup, "bundled_folder", lambda kind: tmp_path)
    found = setup.material()
    assert (found.works, found.said) == (False, "There are no lessons and no stems and no exercises.")


@pytest.mark.parametrize("cut", ["media/kick.flac", "exercises/recording/leave-room.toml"])
def test_material_that_came_cut_off_is_a_fault(monkeypatch, tmp_path, cut):
    for name in ("lessons/contents.ipynb", "media/kick.flac", "exercises/recording/leave-room.toml"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        content = setup.bundled_folder(name.partition("/")[0]).joinpath(*name.split("/")[1:]).read_bytes()
        (tmp_path / name).write_bytes(content[: len(content) * 9 // 10] if name == cut else content)
    monkeypatch.setattr(setup, "bundled_folder", lambda kind: tmp_path / kind)
    found = setup.seen("course material", setup.material)
    assert not found.works
    assert tmp_path.joinpath(cut).name in found.said


def test_a_kernel_that_does_not_start_or_is_another_python_is_a_fault(monkeypatch):
    real = setup.jupyter_environment

    def with_kernel(*argv):
        def environment(place):
            made = real(place)
            (spec,) = place.rglob("kernel.json")
            spec.write_text(json.dumps({"argv": list(argv), "display_name": "x", "language": "python"}))
            return made

        monkeypatch.setattr(setup, "jupyter_environment", environment)

    with_kernel(sys.executable, "-c", "raise SystemExit(1)", "{connection_file}")
    found = setup.kernel()
    assert not found.works
    assert found.said == "A notebook's kernel ends as it starts."
    assert "Install gainlib again" in found.todo
    disguise = (
        "import sys; sys.executable = '/other/python'; from ipykernel.kernelapp import launch_new_instance as go; go()"
    )
    with_kernel(sys.executable, "-c", disguise, "-f", "{connection_file}")
    found = setup.kernel()
    assert not found.works
    assert found.said.startswith("The kernel answers as /other/python")


def test_no_port_and_no_writable_folder_are_faults(monkeypatch, tmp_path):
    def forbid(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(setup.tempfile, "TemporaryDirectory", forbid)
    assert "cannot be written to (permission denied)" in setup.writable(tmp_path).said
    monkeypatch.setattr(setup.socket, "socket", forbid)
    assert not setup.loopback_port().works


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_new_exercise_is_written_and_proven(run, folder):
    status, out, _ = run("new-exercise", "levels/hot-bass", "--kind", "set")
    file = folder / "levels" / "hot-bass.toml"
    assert (status, file.is_file()) == (0, True)
    assert out == f"{file.relative_to(folder)} is written. Change it, then: gainlib prove {file.relative_to(folder)}\n"
    (folder / "levels" / "my take.wav").touch()
    assert run("new-exercise", "levels/cold-bass")[1].endswith('lies beside it: given.take = "my take.wav"\n')
    status, out, err = run("prove", "levels/hot-bass.toml", "--variants", "2")
    assert (status, err) == (0, "")
    assert out.startswith("levels/hot-bass: proven.\n")
    assert "shown The author's answer passes in all 2 variants looked at (of 19)." in " ".join(out.split())


def test_a_new_exercise_is_not_written_over_a_file(run, folder):
    (folder / "mine.toml").write_text("mine")
    status, out, err = run("new-exercise", "mine")
    assert (status, out) == (2, "")
    assert err == "gainlib: mine.toml is there already; choose another name, or move the file away.\n"


def test_every_fault_of_every_file_is_printed_and_the_status_is_1(run, folder):
    run("new-exercise", "one")
    run("new-exercise", "two")
    text = (folder / "one.toml").read_text(encoding="utf-8")
    text = text.replace("level  = 1", "level  = 0,5", 1).replace("points   = 2", "pionts   = 2", 1)
    (folder / "one.toml").write_text(text, encoding="utf-8")
    status, out, _ = run("prove", "one.toml", "two.toml", "--variants", "1")
    assert status == 1
    words = " ".join(out.split())
    assert f"{folder.name}/one: not proven, " in words
    assert "WRONG line 8: a comma stands in a number; write its decimals behind a point: 0.5" in words
    assert "did you mean points?" in words
    assert f"{folder.name}/two: proven." in words
    assert words.endswith("1 of 2 exercises are proven.")


def test_a_proof_as_json_holds_the_figures(run, folder):
    run("new-exercise", "one")
    status, out, _ = run("prove", "one.toml", "--variants", "2", "--json")
    content = json.loads(out)
    assert (status, content["proven"]) == (0, True)
    (proof,) = content["exercises"]
    assert (proof["name"], proof["faults"], proof["unsolved"]) == (f"{folder.name}/one", [], [])
    assert (proof["variants"], proof["all_variants"]) == (2, 19)
    assert 0 <= proof["passing"] < proof["answers"]  # of so few none may pass
    (folder / "one.toml").write_text("title = 1,5\n")
    status, out, _ = run("prove", "one.toml", "--json")
    assert (status, json.loads(out)["exercises"][0]["faults"][0]["line"]) == (1, 1)


def test_a_quick_look_is_no_proof(run, folder):
    run("new-exercise", "one")
    status, out, err = run("prove", "one.toml", "--quick")
    words = " ".join(out.split())
    assert (status, err) == (0, "")
    assert words.startswith(f"{folder.name}/one: nothing wrong at a quick look, 8 of 19 variants; prove it without")
    assert "not yet Not looked at: 11 of 19 variants; whether a search finds an answer; how many" in words
    status, out, _ = run("prove", "one.toml", "--quick", "--json")
    assert (status, json.loads(out)["proven"]) == (0, False)


def test_a_run_that_is_ended_says_what_is_proven_and_how_to_go_on(run, folder, monkeypatch):
    names = [f"{each}.toml" for each in ("one", "two", "three", "four", "five", "six", "seven", "eight")]
    for each in names:
        text = load("levels/volts-and-decibels").file.read_text(encoding="utf-8")
        (folder / each).write_text(text.replace("Volts", each, 1), encoding="utf-8")
    right, count = claims.questions_have_one_answer, 0

    def ended_in_the_second(evidence):
        nonlocal count
        count += 1
        if count == 2:
            raise KeyboardInterrupt
        right(evidence)

    monkeypatch.setattr(claims, "questions_have_one_answer", ended_in_the_second)
    status, out, err = run("prove", *names)
    words = " ".join(out.split())
    assert (status, err) == (2, "")
    assert f"{folder.name}/two: ended before its end. " in words
    assert words.endswith(
        "Ended before its end: 1 of 8 exercises were looked at to their end, 1 are proven. "
        f"To go on: gainlib prove {' '.join(names)} --unproven"
    )
    assert run("prove", "one.toml", "--unproven") == (0, "Proven before, as they stand: 1 of 1.\n", "")
    status, out, _ = run("prove", *names, "--unproven", "--json")
    content = json.loads(out)
    assert (status, content["proven"], content["ended"]) == (0, True, False)
    assert [each["name"] for each in content["exercises"]] == [f"{folder.name}/{each[:-5]}" for each in names[1:]]


@pytest.mark.parametrize("name", ["none.toml", "recording/leave-rom"])
def test_what_cannot_be_proven_at_all_is_one_sentence_and_2(run, folder, name):
    status, out, err = run("prove", name)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("gainlib: ")


def test_an_own_file_opens_on_a_bench(run, folder):
    run("new-exercise", "levels/hot-bass")
    sitting = gainlib.exercise("levels/hot-bass.toml", learner="ada")
    assert not sitting.check().passed
    assert "The microphone gives at most −" in sitting.variant.brief


def test_the_command_is_installed():
    done = subprocess.run(
        [sys.executable, "-c", "from gainlib.cli import main; main()", "check-setup", "--help"],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert re.search(r"Usage:", done.stdout)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no file that is always full")
@pytest.mark.parametrize("words", [["--version"], ["survey", "--help"], ["prove", "levels/two-tracks", "--quick"]])
@pytest.mark.parametrize("buffered", ["", "1"])
def test_whatever_is_printed_where_no_room_is_left_is_told_in_a_sentence(words, buffered):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-c", "from gainlib.cli import main; main()", *words],
            stdout=full, stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": buffered},
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr == (
        "gainlib: what is printed could not be written, no room is left there; free some, or name another file.\n"
    )


@pytest.mark.parametrize("opened", ["typer", "gainlib.surveys"])
def test_ctrl_c_while_a_command_is_opened_is_told_in_a_sentence(opened):
    # The first is opened before a command is known, the second by the command itself.
    code = f"""
import sys

class Ended:
    def find_spec(self, name, path, target=None):
        if name == {opened!r}:
            raise KeyboardInterrupt

sys.meta_path.insert(0, Ended())
from gainlib.cli import main
main()
"""
    done = subprocess.run([sys.executable, "-c", code, "survey", "nothing"], capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "gainlib: ended before its end; only what is told as done or written is.\n"
