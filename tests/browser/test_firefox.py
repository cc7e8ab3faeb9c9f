"""Firefox: two lessons from the first cell to a sounding player and a passed exercise, and a take that is recorded."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from collections.abc import Iterator

import numpy as np
import pytest
import soundfile
from browser.firefox import Firefox
from browser.processes import end_process

from gainlib.exercises import author_answer, load
from gainlib.learners.progress import Progress
from gainlib.storage import lesson_files
from tests.browser.conftest import FAILED

pytestmark = pytest.mark.browser

PROGRAM = os.environ.get("FIREFOX") or shutil.which("firefox-esr") or shutil.which("firefox") or ""
SINK, ASKS, PLAYS = (shutil.which(each) or "" for each in ("pulseaudio", "pactl", "paplay"))

RATE_HZ = 48_000
SAID = "words => document.querySelector('.gainlib-take-said')?.innerText.includes(words)"
RECORDER = """from gainlib.widgets.recorder import Recorder
recorder = Recorder(longest=3.0, room=0.2, prompts=[[0, "Quiet."], [0.2, "Now play or sing."]])
recorder"""

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
    """A sound server of the tests' own, whose only device is silent and whose microphone hears that; its address.

    Firefox wakes no player where nothing takes its samples. A page's process asks the server in one breath, without an
    end: of one that does not answer the page stands still. So it must answer before Firefox is started.
    """
    if not (PROGRAM and SINK and ASKS and PLAYS):
        pytest.skip("firefox and pulseaudio are not both installed (apt-get install firefox-esr pulseaudio)")
    folder = tmp_path_factory.mktemp("sound")
    place = folder / "socket"
    log = folder / "log"
    with log.open("wb") as written:
        server = subprocess.Popen(
            [
                SINK, "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1",
                f"--load=module-null-sink sink_name=silent rate={RATE_HZ} format=float32le",
                "--load=module-remap-source master=silent.monitor source_name=microphone",
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
        end_process(server)


def _answers(address: str) -> bool:
    try:
        asked = subprocess.run([ASKS, f"--server={address}", "info"], capture_output=True, timeout=10, check=False)
    except subprocess.TimeoutExpired:
        return False
    return asked.returncode == 0


@pytest.fixture(scope="module")
def held() -> Iterator[list[Firefox]]:
    """The Firefox that runs, if one does."""
    running: list[Firefox] = []
    yield running
    for each in running:
        each.close()


@pytest.fixture
def firefox(
    sound: str, held: list[Firefox], tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest
) -> Iterator[Firefox]:
    """The Firefox of these tests; after one that failed another, so that none suffers from what stands still."""
    if not held:
        held.append(Firefox(PROGRAM, tmp_path_factory.mktemp("firefox"), {"PULSE_SERVER": sound}))
    yield held[0]
    if request.node.stash.get(FAILED, False):
        held.pop().close()


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


def test_a_take_in_firefox_has_its_length_and_level_and_firefox_says_that_it_left_it_alone(
    lab, firefox, sound, tmp_path
):
    """A tone that is played into the sound server comes back by its microphone.

    Not held sample by sample, as in Chromium: between the player and the page two clocks may drop or repeat some. Over
    3 s of 997 Hz a hundred samples that are missing or twice there change the RMS by less than 0.05 dB (derived).
    """
    played = tmp_path / "tone.wav"
    time_seconds = np.arange(180 * RATE_HZ) / RATE_HZ
    soundfile.write(played, 0.1 * np.sin(2 * np.pi * 997 * time_seconds), RATE_HZ, subtype="PCM_24")
    player = subprocess.Popen([PLAYS, f"--server={sound}", str(played)])
    try:
        lab.open(firefox, lab.write("firefox-take.ipynb", RECORDER))
        lab.run_all(firefox)
        earlier = set((lab.root / "takes").glob("*.wav"))
        firefox.wait_for_selector(".gainlib-take-button")
        firefox.evaluate("() => document.querySelector('.gainlib-take-button').focus()")
        firefox.press("Enter")
        firefox.wait_for_function(SAID, arg="It was ended at 3 s")
        told = firefox.evaluate("() => document.querySelector('.gainlib-take-said').innerText")
    finally:
        end_process(player)
    (path,) = set((lab.root / "takes").glob("*.wav")) - earlier
    samples, rate_hz = soundfile.read(path, always_2d=True)
    assert (rate_hz, len(samples)) == (RATE_HZ, 3 * RATE_HZ)
    level_dbfs = 20 * np.log10(np.sqrt(2 * np.mean(samples[:, 0] ** 2)))
    assert level_dbfs == pytest.approx(-20.0, abs=0.05)
    assert "highest peak −20.0 dBFS, no sample clipped" in told
    # Firefox says of all three that it leaves them off, so there is nothing to warn of.
    assert "on the sound" not in told
