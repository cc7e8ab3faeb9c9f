"""What a bench sends to the loudspeaker, captured in the page behind its last gain and compared with the rendering."""

from __future__ import annotations

import math

import numpy as np
import pytest

pytestmark = pytest.mark.browser

RATE_HZ = 48_000
CEILING = 10 ** (-12 / 20)

# A ramp over the whole take: each captured sample tells at which place of which version it is.
RAMP = """\
import numpy as np
import gainlib as gl
take = gl.Audio(np.linspace(0.05, 0.45, 3 * 48_000), 48_000)
session = gl.Session.of(take, [gl.Trim(), gl.Fader()], name="ramp")
bench = gl.bench(session, controls=["trim/gain_db", "fader/gain_db"])
bench"""
NOISE = """\
import numpy as np
import gainlib as gl
noise = np.random.default_rng(3).standard_normal(2 * 48_000)
dull = 0.2 * np.tanh(np.cumsum(noise) * 0.02)
take = gl.Audio(np.concatenate([0.1 * noise[:48_000], dull[48_000:]]), 48_000)
session = gl.Session.of(take, [gl.Trim(), gl.Compressor(-30.0, 6.0), gl.Fader()], name="noise")
bench = gl.bench(session, controls=["trim/gain_db", "compressor/makeup_db"])
bench"""
# No stage of the course gives no numbers, and a rendering refuses them; so they are put in behind it.
BROKEN = """\
import numpy as np
import gainlib as gl
take = gl.Audio(np.sin(np.arange(48_000) / 8), 48_000)
bench = gl.bench(gl.Session.of(take, [gl.Trim()], name="voice"), controls=["trim/gain_db"])
bench"""
BREAK = """\
import types
sound = type(bench.rendering).at
def broken(rendering, tap):
    audio = sound(rendering, tap)
    samples = audio.samples * 1000.0  # +60 dB
    samples[10_000:10_100], samples[20_000] = np.nan, np.inf
    return types.SimpleNamespace(samples=samples, rate_hz=audio.rate_hz, seconds=audio.seconds)
type(bench.rendering).at = broken"""

# A recorder between the page's ceiling and the loudspeaker; full volume, so that samples can be compared.
CAPTURE = """async () => {
    const state = [...course.players.values()].find(each => each.loop);
    const { context, limit } = state.loop;
    const script = `registerProcessor("recorder", class extends AudioWorkletProcessor {
        process([input]) { if (input[0]) this.port.postMessage(input[0].slice()); return true; }
    })`;
    await context.audioWorklet.addModule(URL.createObjectURL(new Blob([script], { type: "text/javascript" })));
    const recorder = new AudioWorkletNode(context, "recorder");
    window.heard = [];
    recorder.port.onmessage = event => heard.push(...event.data);
    limit.connect(recorder).connect(context.destination);
    state.volume = 0;
    state.loop.loud(1);
}"""


def opened(lab, page, name, *cells):
    lab.run(page, name, *cells, pictures=1)
    page.get_by_role("button", name="Play").click()
    page.wait_for_function("() => [...course.players.values()].some(each => each.loop?.playing)")


def more(page, seconds):
    """Wait until so much more was heard."""
    page.wait_for_function("count => heard.length >= count", arg=page.evaluate("heard.length") + seconds * RATE_HZ)


def captured(lab, page):
    return lab.samples(page, "() => heard")


def test_what_is_heard_while_a_control_is_moved_is_one_rendering_or_the_next_in_step(lab, page):
    opened(lab, page, "ramp.ipynb", RAMP)
    page.evaluate(CAPTURE)
    begun = RATE_HZ // 2  # the volume was still on its way up before
    page.wait_for_function(f"() => heard.length >= {begun + 4000}")
    first = captured(lab, page)[begun : begun + 4000]
    take = np.linspace(0.05, 0.45, 3 * RATE_HZ)
    versions = [np.rint(take * 10 ** (-0.5 * step / 20) * 32767) / 32767 * CEILING for step in range(4)]
    # Where the loop was: near the place that the first sample tells; some ten samples of the ramp share a code.
    near = int(np.abs(versions[0] - first[0]).argmin())

    def fits(at):
        return int((np.abs(first - versions[0][(at + np.arange(4000)) % len(take)]) < 2e-6).sum())

    at = max(range(near - 15, near + 16), key=fits)

    def sounds(step):
        count, last = page.evaluate("() => [heard.length, heard.slice(-512)]")
        return np.abs(last - versions[step][(at + count - 512 - begun + np.arange(512)) % len(take)]).max() < 2e-6

    trim = page.get_by_role("slider", name="Trim")
    trim.focus()
    for step in (1, 2, 3):
        page.keyboard.press("ArrowLeft")
        lab.settled(page)
        for _ in range(60):
            more(page, 0.1)
            if sounds(step):
                break
        assert sounds(step), f"version {step} was not heard within 60 tenths of a second"
    more(page, 0.2)
    heard = captured(lab, page)[begun:]
    places = (at + np.arange(len(heard))) % len(take)
    off = np.array([np.abs(heard - version[places]) for version in versions])
    exact = off.min(axis=0) < 2e-6
    # Crossfades of 20 ms, and at the seam of the loop nothing: one for each version where the whole of it follows its
    # part in time, three where the part had been heard to its end before.
    edges = np.flatnonzero(np.diff(np.concatenate(([0], (~exact).astype(int), [0]))))
    lengths = edges[1::2] - edges[::2]
    assert lengths.max() <= 0.02 * RATE_HZ + 4
    assert lengths.sum() <= 3 * 3 * (0.02 * RATE_HZ + 4)
    assert set(off.argmin(axis=0)[exact]) == {0, 1, 2, 3}  # all four were heard
    inside = heard[~exact]
    low, high = (np.array([version[places] for version in versions])[:, ~exact] for _ in range(2))
    assert (inside >= low.min(axis=0) - 1e-6).all()
    assert (inside <= high.max(axis=0) + 1e-6).all()


def once_round(lab, page, seconds):
    """The loop as it is heard, from its beginning, at the volume that CAPTURE sets."""
    at = page.evaluate("() => { heard.length = 0; return [...course.players.values()][0].loop.position(); }")
    count = round(seconds * RATE_HZ)
    page.wait_for_function(f"() => heard.length >= {count}")
    return np.roll(captured(lab, page)[:count], round(at * RATE_HZ))


def loudness(samples):
    """Integrated loudness by another library."""
    import pyebur128

    meter = pyebur128.R128State(1, RATE_HZ, pyebur128.MeasurementMode.MODE_I)
    meter.add_frames(np.ascontiguousarray(samples), len(samples))
    return pyebur128.get_loudness_global(meter)


def test_before_and_after_are_switched_without_a_gap_and_equally_loud(lab, page):
    pytest.importorskip("pyebur128")
    opened(lab, page, "noise.ipynb", NOISE)
    makeup = page.get_by_role("slider", name="Compressor makeup")
    makeup.focus()
    for _ in range(12):
        page.keyboard.press("ArrowRight")
    page.get_by_text("matched: after lowered by").wait_for()
    page.evaluate(CAPTURE)
    loud = {}
    more(page, 0.7)
    for slot in ("before", "after"):
        page.evaluate("heard.length = 0")
        page.get_by_role("button", name=slot, exact=True).click()
        page.wait_for_function(f"() => [...course.players.values()].some(each => each.loop.slots['{slot}'])")
        more(page, 0.7)
        quiet = np.abs(captured(lab, page)) < 1e-9
        edges = np.flatnonzero(np.diff(np.concatenate(([0], quiet.astype(int), [0]))))
        assert max(edges[1::2] - edges[::2], default=0) < 10  # through the switch there is no gap
        loud[slot] = loudness(once_round(lab, page, 2))
    assert abs(loud["before"] - loud["after"]) < 0.2, loud
    # Unmatched, they differ by what the matching says.
    words = page.locator(".gainlib-labelled", has_text="matched").inner_text()
    said = float(words.split("lowered by ")[1].split("\u00a0")[0].split(" dB")[0])
    page.get_by_role("checkbox", name="matched").uncheck()
    page.get_by_text("not matched in level").wait_for()
    # The gain is heard when the sound that was on its way is through.
    unmatched = (loudness(once_round(lab, page, 2)) - loud["before"] for _ in range(5))
    assert any(each == pytest.approx(said, abs=0.2) for each in unmatched)


def test_sixty_decibels_too_much_and_no_numbers_stay_under_the_ceiling(lab, page):
    opened(lab, page, "broken.ipynb", BROKEN, BREAK)
    page.evaluate(CAPTURE)
    more(page, 1.0)
    page.get_by_role("slider", name="Trim").focus()
    page.keyboard.press("End")
    lab.settled(page)
    more(page, 1.0)
    heard = captured(lab, page)
    assert math.isfinite(heard.sum())
    assert np.abs(heard).max() <= CEILING + 1e-6
    assert np.abs(heard).max() > 0.9 * CEILING  # it was loud, so the ceiling was what held it


def test_a_place_is_sought_by_key_and_by_a_click_on_a_picture(lab, page):
    opened(lab, page, "seek.ipynb", RAMP.replace('"fader/gain_db"]', '"fader/gain_db"], views=["waveform"]'))
    place = "() => [...course.players.values()].find(each => each.loop).position()"
    page.get_by_role("button", name="Pause").click()
    seek = page.get_by_role("slider", name="Place in the recording")
    seek.focus()
    seek.fill("2.5")
    assert page.evaluate(place) == pytest.approx(2.5, abs=0.01)
    page.keyboard.press("ArrowLeft")
    assert page.evaluate(place) == pytest.approx(2.4, abs=0.01)
    assert seek.get_attribute("aria-valuetext") == "2.4 of 3.0 seconds"
    picture = page.locator(".gainlib-timed")
    picture.scroll_into_view_if_needed()
    frame = page.evaluate("""() => {
        const view = [...course.bokeh.library.index.roots].find(each => each.frame);
        const box = document.querySelector(".gainlib-timed").getBoundingClientRect();
        return [box.left + view.frame.bbox.left, view.frame.bbox.width, box.top + 60];
    }""")
    page.mouse.click(frame[0] + frame[1] / 3, frame[2])
    assert page.evaluate(place) == pytest.approx(1.0, abs=0.02)
    # The line is painted there, in the ink of the page's text and nowhere else.
    inked = """() => {
        const canvas = document.querySelector(".gainlib-line");
        const { width, data } = canvas.getContext("2d").getImageData(0, 9, canvas.width, 1);
        return [...Array(width).keys()].filter((x) => data[4 * x + 3]).map((x) => x / width);
    }"""
    page.wait_for_function("() => Math.abs(document.querySelector('.gainlib-line').gainlibShown?.seconds - 1) < 0.02")
    line = page.evaluate(inked)
    assert 1 <= len(line) <= 3
    assert line[0] == pytest.approx(1 / 3, abs=0.005)
    page.get_by_role("button", name="Play").click()
    page.wait_for_function(f"() => ({place})() > 1.1")


# A device a quarter of a second away, which counts how often the page asks.
AWAY = """() => {
    const { loop } = [...course.players.values()].find(each => each.loop);
    window.asked = [];
    loop.context.getOutputTimestamp = () => {
        asked.push(loop.context.currentTime - loop.begunAt);
        return { contextTime: loop.context.currentTime - 0.25, performanceTime: performance.now() };
    };
    loop.seek(0);
    loop.pause();
    loop.play();
    return loop.begunAt;
}"""


def test_how_far_the_ear_is_behind_is_asked_seldom_and_not_while_the_device_is_started(lab, page):
    """An answer may take as long as the browser's audio process is busy, and all of the page waits for it."""
    opened(lab, page, "asked.ipynb", RAMP)
    page.evaluate(AWAY)
    page.wait_for_function("() => [...course.players.values()].find(each => each.loop).loop.position() > 2.6")
    found = page.evaluate("""() => {
        const { loop } = [...course.players.values()].find(each => each.loop);
        return [asked, loop.position() - loop.heard()];
    }""")
    assert found[0][0] >= 1.0
    assert 1 <= len(found[0]) <= 3
    assert found[1] == pytest.approx(0.25, abs=0.1)  # the clock of a context goes on in steps of its device


def test_a_stage_is_heard_alone_and_the_place_is_kept(lab, page):
    opened(lab, page, "tap.ipynb", RAMP)
    page.get_by_role("slider", name="Trim").focus()
    page.keyboard.press("Home")
    peak = """() => {
        const state = [...course.players.values()].find(each => each.loop);
        const samples = state.loop.slots.after?.getChannelData(0);
        return samples && [state.tap, samples.reduce((most, each) => Math.max(most, each), 0)];
    }"""
    page.wait_for_function(f"() => Math.abs((({peak})() ?? [0, 1])[1] - {0.45 * 10 ** (-24 / 20) * CEILING}) < 1e-4")
    page.get_by_role("slider", name="Fader").focus()
    page.keyboard.press("End")
    page.wait_for_function(f"() => Math.abs((({peak})() ?? [0, 1])[1] - {0.45 * 10 ** (-14 / 20) * CEILING}) < 1e-4")
    page.get_by_role("combobox", name="heard after").select_option("ramp/trim")
    page.wait_for_function(f"() => (({peak})() ?? [])[0] === 'ramp/trim'")
    assert page.evaluate(peak)[1] == pytest.approx(0.45 * 10 ** (-24 / 20) * CEILING, abs=1e-4)
    assert page.evaluate("() => [...course.players.values()][0].loop.playing") is True


MARKS = """() => {
    const drawn = document.querySelector(".gainlib-marks")?.gainlibShown;
    const ink = document.querySelector(".gainlib-marks").getContext("2d");
    const coloured = ink.getImageData(0, 0, ink.canvas.width, ink.canvas.height).data.some(each => each);
    const place = [...course.players.values()].find(each => each.loop).position();
    return drawn && { ...structuredClone(drawn), coloured, place };  // which the next frame writes into
}"""


def test_the_marks_of_the_level_diagram_move_with_the_sound_and_the_settings(lab, page):
    opened(lab, page, "marks.ipynb", RAMP)
    page.locator(".gainlib-marks").scroll_into_view_if_needed()

    def marks(condition):
        """What the marks show once a condition holds, which is asked of them in the page."""
        found = page.wait_for_function(f"() => {{ const it = ({MARKS})(); return it && ({condition}) && it; }}")
        return found.json_value()

    # In its second half the ramp has risen for long: the mark comes to its level, however few frames it is drawn in.
    there = "20 * Math.log10(0.05 + 0.4 * (it.moment + 1) / 300)"
    now = marks(f"it.moment > 150 && it.moment < 280 && Math.abs(it.shown[0] - {there}) < 0.4")
    level = 20 * math.log10(0.05 + 0.4 * (now["moment"] + 1) / 300)
    assert now["coloured"]
    assert now["place"] == pytest.approx(now["moment"] / 100, abs=0.08)
    assert now["shown"][0] == pytest.approx(level, abs=0.4)
    assert now["shown"][2] == pytest.approx(level, abs=0.4)
    assert now["shown"][1] == pytest.approx(level + 3.01, abs=0.4)  # almost steady for 10 ms; AES17 adds 3.01 dB
    # The maximum is held after the ramp has begun anew.
    held = marks("it.held[0] > -7.3 && it.moment > 60 && it.moment < 100 && it.shown[0] < it.held[0] - 3")["held"]
    assert held[0] == pytest.approx(20 * math.log10(0.45), abs=0.3)
    page.get_by_role("slider", name="Fader").focus()
    page.keyboard.press("End")  # 10 dB up, behind the trim
    moved = marks("it.moment > 150 && it.moment < 280 && it.shown[2] > it.shown[0] + 5")
    assert moved["shown"][2] - moved["shown"][0] == pytest.approx(10.0, abs=0.6)
    # While what was before is heard, so it is with the marks.
    page.get_by_role("button", name="before", exact=True).click()
    heard = marks("it.slot === 'before' && it.moment > 150 && it.moment < 280")
    assert heard["shown"][2] == pytest.approx(heard["shown"][0], abs=0.01)
    page.get_by_role("button", name="after", exact=True).click()
    marks("it.slot === 'after'")
    page.emulate_media(reduced_motion="reduce")
    try:
        page.evaluate("""() => {
            window.drawn = 0;
            const canvas = document.querySelector(".gainlib-marks");
            let last = canvas.gainlibShown;
            const set = (each) => { last = each; drawn += 1; };
            Object.defineProperty(canvas, "gainlibShown", { get: () => last, set });
        }""")
        clock = "() => [...course.players.values()].find(each => each.loop).loop.context.currentTime"
        end = page.evaluate(clock) + 2.5
        page.wait_for_function(f"() => ({clock})() > {end}")
        assert 1 <= page.evaluate("drawn") <= 4
    finally:
        page.emulate_media(reduced_motion="no-preference")
    assert page.locator(".gainlib-key").inner_text().split("\n") == ["peak now", "RMS now", "highest"]
    page.get_by_role("button", name="Pause").click()
    still = page.evaluate(MARKS)
    assert page.evaluate(MARKS)["moment"] == still["moment"]


def test_without_a_sound_device_the_player_says_so_until_one_answers(lab, clocked_page, keep):
    page = clocked_page
    lab.run(page, "deaf.ipynb", RAMP, pictures=1)
    # What a page sees without a device: a context that never wakes, and a clock that stands.
    page.evaluate("""() => {
        window.deaf = true;
        window.AudioContext = class extends AudioContext {
            get currentTime() { return deaf ? 0 : super.currentTime; }
            get state() { return deaf ? "suspended" : super.state; }
            resume() { return deaf ? new Promise(() => {}) : super.resume(); }
        };
    }""")
    message = page.get_by_role("alert").filter(has_text="No sound device answers")
    play = page.locator(".gainlib-player button").first
    page.clock.pause_at(page.evaluate("Date.now()") + 1_000)
    try:
        play.click()
        page.clock.run_for(1_800)
        assert message.count() == 0
        page.clock.run_for(400)
    finally:
        page.clock.resume()
    message.wait_for()
    assert "then press Play again" in message.inner_text()
    assert play.inner_text() == "Play"
    keep(page, "no-sound-device")
    page.evaluate("() => { deaf = false; }")
    play.click()
    page.wait_for_function("() => [...course.players.values()].some(each => each.loop?.position() > 0.05)")
    message.wait_for(state="detached")


def test_the_player_of_a_closed_notebook_falls_silent(lab, page):
    opened(lab, page, "closed.ipynb", RAMP)
    page.evaluate("() => { window.loop = [...course.players.values()].find(each => each.loop).loop; }")
    page.evaluate("() => { jupyterapp.shell.currentWidget.close(); }")
    # Unsaved, it asks first.
    page.get_by_role("button", name="Close without saving").or_(page.get_by_role("button", name="Discard")).click()
    page.wait_for_function("() => !loop.playing")
