"""Two lessons in Firefox, from the first cell to a sounding player and a passed exercise."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser.firefox import Firefox

from gainlib.exercises import author_answer, load
from gainlib.learners.progress import Progress
from gainlib.storage import lesson_files

pytestmark = pytest.mark.browser

PROGRAM = os.environ.get("FIREFOX") or shutil.which("firefox-esr") or shutil.which("firefox") or ""
SINK, ASKS = shutil.which("pulseaudio") or "", shutil.which("pactl") or ""

PLACE = "() => { const each = [...course.players.values()].find(each => each.loop?.playing); return each?.position(); }"
CONTROL = """([exercise, low, high]) => {
    const range = [...document.querySelectorAll(".gainlib-exercise")]
        .find(each => each.querySelector("h3")?.textContent === exercise)
        .querySelectorAll(`input[type=range][min="${low}"][max="${high}"]`)[0];
    range.focus();
    return Number(range.value);
}"""
ARRIVED = "([value, near]) => Math.abs(Number(document.activeElement.value) - value) <= near"
CHECK = """exercise => [...document.querySelectorAll(".gainlib-exercise")]
    .find(each => each.querySelector("h3")?.textContent === exercise).querySelector(".gainlib-check").focus()"""
VERDICT = """exercise => [...document.querySelectorAll(".gainlib-exercise")]
    .find(each => each.querySelector("h3")?.textContent === exercise)
    .querySelector(".gainlib-verdict").textContent"""


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A sound server of the tests' own, whose only device is silent; its address.

    Firefox wakes no player where nothing takes its samples. A page's process asks the server in one breath, without an
    end: of one that does not answer the page stands still. So it must answer before Firefox is started.
    """
    if not PROGRAM or not SINK or not ASKS:
        pytest.skip("firefox and pulseaudio are not both installed (apt-get install firefox-esr pulseaudio)")
    folder = tmp_path_factory.mktemp("sound")
    place = folder / "socket"
    log = folder / "log"
    with log.open("wb") as written:
        server = subprocess.Popen(
            [
                SINK, "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1", "--load=module-null-sink",
                f"--load=module-native-protocol-unix socket={place} auth-anonymous=1",
            ],
            env={**os.environ, "HOME": str(folder), "XDG_RUNTIME_DIR": str(folder)},
            stdout=written,
            stderr=subprocess.STDOUT,
        )  # fmt: skip
    address = f"unix:{place}"
    try:
        end = time.monotonic() + 60
        while not _answers(address):
            if server.poll() is not None or time.monotonic() > end:
                raise RuntimeError(f"pulseaudio did not start: {log.read_text(errors='replace')[-2000:]}")
            time.sleep(0.05)
        yield address
    finally:
        server.terminate()
        try:
            server.wait(15)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


def _answers(address: str) -> bool:
    try:
        asked = subprocess.run([ASKS, f"--server={address}", "info"], capture_output=True, timeout=10, check=False)
    except subprocess.TimeoutExpired:
        return False
    return asked.returncode == 0


@pytest.fixture
def firefox(sound: str, tmp_path: Path) -> Iterator[Firefox]:
    """A fresh Firefox, so that one that stands still takes no other test with it."""
    shown = Firefox(PROGRAM, tmp_path, {"PULSE_SERVER": sound})
    yield shown
    shown.close()


def test_a_ride_typed_in_firefox_is_kept_while_the_kernel_is_slow(ride_is_typed, firefox):
    ride_is_typed(firefox, firefox.type, firefox.press)


@pytest.mark.parametrize(
    ("lesson", "exercise"),
    [
        ("set-recording-level", "recording/leave-room"),
        ("hear-a-compressor", "compressor/even-phrases"),
    ],
)
def test_a_lesson_in_firefox_sounds_and_its_exercise_is_passed(lab, firefox, lesson, exercise):
    lab.open(firefox, lesson_files()[lesson].name)
    lab.run_all(firefox)

    # A page may sound only after a hand asked for it, so the button is pressed by a key.
    firefox.wait_for_selector(".gainlib-player button")
    firefox.evaluate("() => document.querySelector('.gainlib-player button').focus()")
    firefox.press("Enter")
    first = firefox.wait_for_function(PLACE)
    firefox.wait_for_function(f"first => ({PLACE})() > first + 0.3", arg=first)
    assert firefox.evaluate("() => [...course.contexts.values()].map(each => each.state)") == ["running"]
    assert firefox.evaluate("() => document.querySelector('.gainlib-player button').textContent") == "Pause"
    firefox.press("Enter")

    variant = load(exercise).variant(Progress.at(lab.root, make=False).learner_id)
    title = variant.exercise.title
    for path, value in author_answer(variant).items():
        control = next(each for each in variant.controls if each.path == path)
        steps = (value - firefox.evaluate(CONTROL, [title, control.low, control.high])) / control.step
        firefox.press("ArrowRight" if steps > 0 else "ArrowLeft", round(abs(steps)))
        # The keys are on their way; what is focused next would take the rest of them.
        firefox.wait_for_function(ARRIVED, arg=[value, control.step / 2 + 1e-9])
    lab.settled(firefox)
    firefox.evaluate(CHECK, title)
    firefox.press("Enter")
    firefox.wait_for_function(f"title => ({VERDICT})(title)", arg=title)
    said = firefox.evaluate(VERDICT, title)
    assert "Passed" in said
    assert "not met" not in said
