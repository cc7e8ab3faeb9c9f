"""A take from the browser's microphone, which here is a known file: its samples arrive as they are."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tests.browser.conftest import ARGUMENTS, BUSY, CHROMIUM, watched

pytestmark = pytest.mark.browser

RATE_HZ = 44_100  # Chromium's stand-in for a microphone runs at this rate, whatever is asked for
CELL = """import gainlib as gl
from gainlib.widgets.recorder import Recorder
recorder = Recorder(longest={longest}, room=0.2, prompts=[[0, "Quiet."], [0.2, "Now play or sing."]])
recorder"""
PLAYING = "[...course.players.values()].some((each) => each.loop?.playing)"
BENCH = """mine = recorder.take or gl.tone(-20, 997, seconds=1, rate_hz=48000)
gl.bench(gl.Session.of(mine, [gl.Trim()], name="mine"), controls=["trim/gain_db"], key="own")"""


@pytest.fixture(scope="module")
def codes() -> Any:
    """Eight seconds of 16-bit noise, each code equally likely, the two extremes among them."""
    drawn = np.random.default_rng(11).integers(-32768, 32768, 8 * RATE_HZ).astype(np.int16)
    drawn[RATE_HZ : RATE_HZ + 2] = 32767, -32768
    return drawn


@pytest.fixture(scope="module")
def microphone(browser: Any, lab: Any, codes: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A page of a browser whose microphone plays a file, and may be used without a question."""
    played = tmp_path_factory.mktemp("microphone") / "noise.wav"
    soundfile.write(played, codes, RATE_HZ, subtype="PCM_16")
    started = browser.browser_type.launch(
        executable_path=CHROMIUM,
        args=[
            *ARGUMENTS, "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-audio-capture={played}",
        ],
    )  # fmt: skip
    with watched(started, lab) as (page, problems):
        yield page
        assert problems == []
    started.close()


def said(page: Any, words: str) -> None:
    """Wait until the recorder says so."""
    page.wait_for_function(
        "words => document.querySelector('.gainlib-take-said')?.innerText.includes(words)", arg=words
    )


def takes(lab: Any) -> list[Path]:
    return sorted((lab.root / "takes").glob("*.wav"))


def test_a_take_arrives_bit_exact_also_while_the_kernel_is_busy_and_stands_on_the_bench(microphone, lab, codes, keep):
    page = microphone
    lab.open(page, lab.write("voice.ipynb", CELL.format(longest=2.5), BENCH, lesson=True))
    page.get_by_role("button", name="Run this page").click()
    lab.drawn(page, 1)
    keep(page, "recorder-before")
    page.get_by_role("button", name="Record", exact=True).click()
    said(page, "Now play or sing")
    keep(page, "recorder-recording")
    said(page, "highest peak")
    said(page, "It was ended at 2.5 s")
    (path,) = takes(lab)
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    assert (rate_hz, samples.shape) == (RATE_HZ, (round(2.5 * RATE_HZ), 1))
    # Chromium takes positive codes by 32767 and negative ones by 32768 (its own arithmetic, seen and not published).
    back = np.where(samples[:, 0] > 0, samples[:, 0] * 32767.0, samples[:, 0] * 32768.0)
    heard = np.rint(back).astype(int)
    assert np.abs(back - heard).max() < 0.01
    at = next(
        start for start in np.flatnonzero(codes == heard[0]) if np.array_equal(codes[start : start + 50], heard[:50])
    )
    np.testing.assert_array_equal(heard, np.resize(np.roll(codes, -at), len(heard)))
    # The bench below is made of it.
    page.wait_for_function("() => document.querySelector('.gainlib-title')?.innerText.includes('2 s')")
    keep(page, "recorder-after")


def test_what_goes_wrong_is_one_sentence_and_what_was_recorded_is_kept(microphone, lab, keep):
    page = microphone
    lab.open(page, lab.write("trouble.ipynb", CELL.format(longest=30.0), BENCH, BUSY))
    lab.run_all(page)
    lab.drawn(page, 1)
    earlier = takes(lab)
    page.evaluate("""() => {
        const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
        window.fault = "NotAllowedError";
        navigator.mediaDevices.getUserMedia = async (asked) => {
            if (window.fault) throw new DOMException("no", window.fault);
            return (window.heard = await real(asked));
        };
    }""")
    record = page.get_by_role("button", name="Record", exact=True)
    for fault, words in (("NotAllowedError", "was not allowed"), ("NotFoundError", "No microphone was found")):
        page.evaluate("fault => { window.fault = fault; }", fault)
        record.click()
        said(page, words)
    keep(page, "recorder-refused")
    page.evaluate("() => { window.fault = ''; }")
    record.click()
    said(page, "Now play or sing")
    page.get_by_role("button", name="Play").click()
    page.wait_for_function("() => document.querySelector('.gainlib-part').innerText.includes('Put on headphones')")
    lab.hold()
    page.evaluate("() => { jupyterapp.commands.execute('notebook:run-all-below'); }")
    # As when its plug is pulled out.
    page.evaluate(
        "() => { const [track] = heard.getAudioTracks(); track.stop(); track.dispatchEvent(new Event('ended')); }"
    )
    said(page, "The microphone went away; what came until then is kept. The kernel is busy.")
    keep(page, "recorder-busy")
    lab.free()
    said(page, "Kept as take-")
    assert len(takes(lab)) == len(earlier) + 1
    keep(page, "recorder-went")
    # Its cell is run again in the middle of a take.
    record.click()
    said(page, "Now play or sing")
    page.evaluate("""() => {
        jupyterapp.shell.currentWidget.content.activeCellIndex = 0;
        jupyterapp.commands.execute("notebook:run-cell");
    }""")
    said(page, "The cell was run again; what came until then is kept. Kept as take-")
    assert len(takes(lab)) == len(earlier) + 2
    # Its kernel ends: the page has the take, and gives it as a file.
    record.click()
    said(page, "Now play or sing")
    page.evaluate("() => jupyterapp.shell.currentWidget.sessionContext.session.kernel.shutdown()")
    page.get_by_role("button", name="Stop", exact=True).click()
    with page.expect_download() as saved:
        page.get_by_role("link", name="Save it as a file").click()
    file = soundfile.info(saved.value.path())
    assert (file.samplerate, file.subtype, file.channels) == (RATE_HZ, "FLOAT", 2)
    assert file.frames > 0.2 * RATE_HZ
    assert len(takes(lab)) == len(earlier) + 2


def test_one_press_stops_what_plays_and_records_and_the_caution_is_said_once(microphone, lab, keep):
    page = microphone
    lab.open(page, lab.write("playing.ipynb", CELL.format(longest=30.0), BENCH))
    lab.run_all(page)
    lab.drawn(page, 1)
    play = page.get_by_role("button", name="Play")
    play.click()
    page.wait_for_function(f"() => {PLAYING}")
    page.get_by_role("button", name="Record", exact=True).click()
    caution = page.locator(".gainlib-take").get_by_text("What was playing was stopped, so that the microphone")
    caution.wait_for()
    said(page, "Now play or sing")
    assert not page.evaluate(PLAYING)
    keep(page, "recorder-silenced")
    play.click()  # with headphones on: nothing more is asked
    page.wait_for_function(f"() => {PLAYING}")
    page.locator(".gainlib-take-button", has_text="Stop").click()
    said(page, "Kept as take-")
    assert not caution.is_visible()


# In the audio thread's place: a minute of two channels, each sample telling where it belongs.
MINUTE = """() => {
    const real = window.AudioWorkletNode;
    window.AudioWorkletNode = class {
        constructor(context) {
            window.AudioWorkletNode = real;
            const made = context.createGain();
            made.port = { postMessage: () => made.port.onmessage({ data: { end: true } }) };
            return (window.node = made);
        }
    };
}"""
PLAYED = """([rate, frames]) => {
    const begun = Date.now();
    for (let at = 0; at < frames; at += 2048) {
        const parts = [1, -1].map((sign) => (
            Float32Array.from({ length: 2048 }, (_, each) => (sign * (at + each)) / 2 ** 24)));
        node.port.onmessage({ data: { parts, at, until: begun + (1000 * (at + 2048)) / rate } });
    }
}"""


def test_a_long_take_goes_over_in_pieces_and_waits_for_a_busy_kernel(microphone, lab):
    page = microphone
    lab.open(page, lab.write("long.ipynb", CELL.format(longest=60.0), BUSY))
    lab.run_all(page)
    page.evaluate(MINUTE)
    page.get_by_role("button", name="Record", exact=True).click()
    page.wait_for_function("() => window.node?.port.onmessage")
    lab.hold()
    page.evaluate("""() => {
        jupyterapp.shell.currentWidget.content.activeCellIndex = 1;
        jupyterapp.commands.execute("notebook:run-cell");
    }""")
    earlier = takes(lab)
    page.evaluate(PLAYED, [RATE_HZ, 61 * RATE_HZ])
    said(page, "It was ended at 60 s, the longest that it may be. The kernel is busy.")
    lab.free()
    said(page, "Kept as take-")
    (path,) = set(takes(lab)) - set(earlier)
    samples, _ = soundfile.read(path, dtype="float32", always_2d=True)
    # What a device gives first, its start-up, is left out: a quarter of a second, in whole blocks.
    left_out = -(-RATE_HZ // 4 // 2048) * 2048
    ramp = np.arange(left_out, left_out + 60 * RATE_HZ) / 2**24
    np.testing.assert_array_equal(samples, np.column_stack([ramp, -ramp]).astype(np.float32))


DROPS = """() => {
    const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
    navigator.mediaDevices.getUserMedia = async (asked) => (window.heard = await real(asked));
    window.stand = (on) => { const [context] = window.contexts; return on ? context.suspend() : context.resume(); };
    window.contexts = [];
    const Made = window.AudioContext;
    window.AudioContext = class extends Made { constructor(given) { super(given); window.contexts.unshift(this); } };
}"""


def test_sound_that_never_reached_the_page_is_told_by_the_clock(microphone, lab, keep):
    """The sound stands for 1.5 s, as on a computer that is too busy; the frames that do come follow each other."""
    page = microphone
    lab.open(page, lab.write("drops.ipynb", CELL.format(longest=30.0), BENCH))
    lab.run_all(page)
    lab.drawn(page, 1)
    page.evaluate(DROPS)
    page.get_by_role("button", name="Record", exact=True).click()
    said(page, "Now play or sing")
    page.evaluate(
        "async () => { await stand(true); await new Promise((go) => setTimeout(go, 1500)); await stand(false); }"
    )
    page.wait_for_function(
        "() => parseFloat(document.querySelector('.gainlib-take-figures').innerText.split('·')[2]) > 0.5"
    )
    page.get_by_role("button", name="Stop", exact=True).click()
    said(page, "samples went missing, since the computer was busy: record again.")
    keep(page, "recorder-missing")


LOOP = """() => {
    const loop = new AudioContext({ sampleRate: 48000 });
    const back = loop.createMediaStreamDestination();
    const way = loop.createGain();
    way.gain.value = -0.5;
    way.connect(back);
    navigator.mediaDevices.getUserMedia = async () => back.stream.clone();
    const connect = AudioNode.prototype.connect;
    AudioNode.prototype.connect = function (to, ...others) {
        if (to === this.context.destination && this.context !== loop) {
            const out = this.context.createMediaStreamDestination();
            connect.call(this, out);
            connect.call(loop.createMediaStreamSource(out.stream), way);
        }
        return connect.call(this, to, ...others);
    };
}"""


def test_a_chain_of_known_gain_and_polarity_is_measured_and_nothing_is_sent_before_nobody_listens(
    microphone, lab, keep
):
    """The cable is a gain of −6 dB with turned polarity between the page's own output and its microphone."""
    page = microphone
    lab.open(page, lab.write("chain.ipynb", "import gainlib as gl\nchain = gl.measure_chain()\nchain"))
    lab.run_all(page)
    page.evaluate(LOOP)
    earlier = takes(lab)
    measure = page.get_by_role("button", name="Measure", exact=True)
    measure.click()
    said(page, "Nothing is sent yet")
    keep(page, "chain-before")
    page.get_by_role("checkbox").check()
    measure.click()
    said(page, "The signal goes out")
    keep(page, "chain-sending")
    page.wait_for_function("() => document.querySelector('.gainlib-take-said').innerText.includes('Gain at 997 Hz')")
    keep(page, "chain-measured")
    told = page.locator(".gainlib-take-said").inner_text()
    assert "Gain at 997 Hz, channel 1: −6.02 dB. The polarity is turned." in told
    assert "THD 0.000 %" in told
    assert not page.get_by_role("checkbox").is_checked()
    assert takes(lab) == earlier
