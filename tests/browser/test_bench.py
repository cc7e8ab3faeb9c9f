"""A bench in JupyterLab: moved by keyboard, read, played, run again; and the page's loop player by its samples."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainlib.learners.progress import Progress
from gainlib.widgets.assets import SHARED_URL
from gainlib.widgets.player import Player

pytestmark = pytest.mark.browser

OPENING = """\
import numpy as np
import gainlib as gl
sine = np.sin(2 * np.pi * 997 * np.arange(4 * 48_000) / 48_000)
chain = [gl.Source(-30.0), gl.Preamp(33.0, max_output_dbu=24.0), gl.Converter("EBU R 68"), gl.Trim()]
session = gl.Session.of(gl.Audio(sine, 48_000), chain, name="voice")"""
BENCH = """\
bench = gl.bench(session, controls=["preamp/gain_db", "trim/gain_db"], views=["level diagram", "waveform"])
bench"""

# What the picture in the page holds now, by the name of a source.
DRAWN = """name => {
    const data = course.bokeh.library.documents.map(each => each.get_model_by_name(name)).find(each => each).data;
    return Object.fromEntries(Object.entries(data).map(([column, values]) => [column, [...values]]));
}"""
PLAYER = """() => {
    const { loop } = [...course.players.values()][0];
    const peak = buffer => buffer.getChannelData(0).reduce((most, each) => Math.max(most, Math.abs(each)), 0);
    return loop && { playing: loop.playing, position: loop.position(), active: loop.active,
        gains: loop.gains,
        peaks: Object.fromEntries(Object.entries(loop.slots).map(([slot, each]) => [slot, peak(each)])) };
}"""


@pytest.fixture
def bench(lab, page):
    """A page with one bench in it; the sine stands at -30 dBu plus the preamp's gain, and 0 dBFS is +18 dBu."""
    return lab.run(page, "bench.ipynb", OPENING, BENCH, pictures=2)


def test_a_bench_moves_by_keyboard_and_the_page_says_the_new_numbers(bench, keep):
    assert bench.evaluate(DRAWN, "numbers")["text"] == ["peak −30", "+3", "−15 dBFS", "−15"]
    gain = bench.get_by_role("slider", name="Preamp gain")
    gain.focus()
    for _ in range(18):
        bench.keyboard.press("ArrowRight")
    assert gain.get_attribute("aria-valuetext") == "+51.0 dB"
    # -30 + 51 dBu is 3 dB over +18 dBu; each of the 2 x 997 half waves of four seconds is cut
    bench.wait_for_function(f"() => ({DRAWN})('numbers').text[1] === '+21'")
    assert bench.evaluate(DRAWN, "trouble")["text"] == ["▼ clips 7976 times"]
    assert bench.evaluate(DRAWN, "numbers")["text"] == ["peak −30", "+21", "0 dBFS", "0"]
    line = bench.locator(".gainlib-headline-line", has_text="7976")
    assert line.inner_text().replace("\xa0", " ") == "▼ The converter clips 7976 times."
    bench.get_by_role("status").filter(has_text="The converter clips 7976 times.").wait_for(state="attached")
    trim = bench.get_by_role("slider", name="Trim")
    trim.focus()
    for _ in range(24):
        bench.keyboard.press("ArrowLeft")
    bench.wait_for_function(f"() => ({DRAWN})('numbers').text[3] === '−12'")
    assert trim.get_attribute("aria-valuetext") == "−12.0 dB"
    assert bench.evaluate(DRAWN, "told")["text"] == ["▼ 7976 clipped runs"]
    # Each picture arrives by itself, this one after the numbers.
    near = "level.every((each, place) => Math.abs(each - [-0.251, 0.251][place]) < 1e-3)"
    bench.wait_for_function(f"() => {{ const {{ level }} = ({DRAWN})('flat'); return {near}; }}")
    bench.locator(".gainlib-headline").scroll_into_view_if_needed()
    assert len(bench.screenshot()) > 20_000
    keep(bench, "bench-light")
    bench.keyboard.press("Delete")
    bench.wait_for_function(f"() => ({DRAWN})('numbers').text[3] === '0'")
    assert trim.get_attribute("aria-valuetext") == "0.0 dB"
    bench.get_by_role("button", name="Reset").click()
    bench.wait_for_function(f"() => ({DRAWN})('numbers').text[3] === '−15'")
    assert gain.get_attribute("aria-valuetext") == "+33.0 dB"


def test_a_fast_drag_ends_where_it_ended(lab, bench):
    bench.evaluate("""() => {
        const source = course.bokeh.library.documents.map(each => each.get_model_by_name('band')).find(each => each);
        window.drawings = 0;
        source.properties.data.change.connect(() => { window.drawings += 1; });
    }""")
    gain = bench.get_by_role("slider", name="Preamp gain")
    gain.evaluate("""each => {
        for (let value = 0; value <= 60; value += 1) {
            each.value = value;
            each.dispatchEvent(new Event("input", { bubbles: true }));
        }
        each.value = 21;
        each.dispatchEvent(new Event("input", { bubbles: true }));
    }""")
    bench.wait_for_function(f"() => ({DRAWN})('numbers').text[1] === '−9'")
    lab.settled(bench)
    assert bench.evaluate(DRAWN, "numbers")["text"][1] == "−9"
    assert bench.evaluate("drawings") < 20  # 62 positions: those in between were left out


def test_a_number_that_is_typed_is_taken_or_refused_in_words(bench):
    typed = bench.get_by_role("textbox", name="Preamp gain in figures")
    complaint = bench.locator(".gainlib-complaint").first
    for wrong, words in [
        ("72", "+72.0 dB is out of reach; give 0.0 dB to +60.0 dB."),
        ("−3", "−3.0 dB is out of reach; give 0.0 dB to +60.0 dB."),
        ("loud", "“loud” is not a number in dB; give 0.0 dB to +60.0 dB."),
    ]:
        typed.fill(wrong)
        typed.press("Enter")
        assert complaint.inner_text() == words
        assert typed.input_value() == "+33.0"
        assert typed.get_attribute("aria-invalid") == "true"
    typed.fill("28,4 dB")
    typed.press("Enter")
    bench.wait_for_function(f"() => ({DRAWN})('numbers').text[1] === '−2'")
    assert complaint.inner_text() == ""
    assert typed.input_value() == "+28.4"


def test_letters_typed_on_a_control_do_nothing_to_the_notebook(bench):
    cells = bench.locator(".jp-Cell").count()
    for control in (bench.get_by_role("slider", name="Trim"), bench.get_by_role("button", name="Reset")):
        control.focus()
        # Insert a cell below, above; cut one; delete one: each would change the count, all four together would not.
        for letter in ("b", "a", "x", "d", "d"):
            bench.keyboard.press(letter)
            assert bench.locator(".jp-Cell").count() == cells, letter


# Whether the figure is as wide as its place: Bokeh lays it out some frames after the window has changed.
FITS = """() => {
    const root = [...course.bokeh.library.index.roots][0];
    const place = document.querySelector(".gainlib-place").getBoundingClientRect();
    return Math.abs(root.bbox.width - place.width) < 1;
}"""


def test_each_control_stands_below_the_middle_of_its_stage(bench, keep):
    for width in (1600, 1280):
        bench.set_viewport_size({"width": width, "height": 900})
        bench.wait_for_function(FITS)
        stands_in_columns(bench)
        keep(bench, f"bench-{width}")


def stands_in_columns(bench):
    places = bench.evaluate("""() => {
        const middle = each => { const box = each.getBoundingClientRect(); return (box.left + box.right) / 2; };
        const place = document.querySelector(".gainlib-place").getBoundingClientRect();
        // The level diagram's own frame, which ends where its second scale begins.
        const roots = [...course.bokeh.library.index.roots];
        const root = roots.find(each => each.model.document.get_model_by_name("stages"));
        const frame = root.frame.bbox;
        const bench = document.querySelector(".gainlib-bench");
        return { sliders: [...document.querySelectorAll(".gainlib-range input[type=range]")].map(middle),
                 left: place.left + frame.left, width: frame.width, right: place.right,
                 wide: bench.scrollWidth - bench.clientWidth };
    }""")
    column = places["width"] / 4
    for slider, index in zip(places["sliders"], (1, 3), strict=True):
        assert slider == pytest.approx(places["left"] + (index + 0.5) * column, abs=2.0)
    assert places["wide"] <= 0  # nothing sticks out


def test_it_plays_only_when_asked_and_swaps_what_sounds_while_it_is_moved(bench):
    assert bench.evaluate(PLAYER) is None  # not a sample was sent
    bench.get_by_role("button", name="Play").click()
    bench.wait_for_function(f"() => ({PLAYER})()?.playing && ({PLAYER})().position > 0.2")
    # -15 dBFS, heard with full scale at the listening ceiling of -12 dBFS
    assert bench.evaluate(PLAYER)["peaks"]["after"] == pytest.approx(10 ** (-27 / 20), rel=0.01)
    gain = bench.get_by_role("slider", name="Preamp gain")
    gain.focus()
    for _ in range(6):
        bench.keyboard.press("ArrowLeft")
    bench.wait_for_function(f"() => Math.abs(({PLAYER})().peaks.after - 10 ** (-33 / 20)) < 2e-4")
    state = bench.evaluate(PLAYER)
    assert state["playing"] is True
    assert state["gains"] == pytest.approx({"before": 10 ** (-6 / 20), "after": 1.0}, rel=0.01)
    bench.get_by_role("button", name="before", exact=True).click()
    bench.wait_for_function(f"() => ({PLAYER})().active === 'before' && ({PLAYER})().peaks.before")
    assert bench.evaluate(PLAYER)["peaks"]["before"] == pytest.approx(10 ** (-27 / 20), rel=0.01)
    assert bench.get_by_text("matched: before lowered by 6.0 dB (loudness)").is_visible()
    assert 0.0 < bench.evaluate("document.querySelector('.gainlib-line').gainlibShown.seconds") < 4.0
    # Twenty-four decibels up, where the limit holds whatever is sent: nothing is above -12 dBFS.
    gain.focus()
    bench.keyboard.press("End")
    bench.get_by_role("button", name="after", exact=True).click()
    bench.wait_for_function(f"() => ({PLAYER})().peaks.after > 0.2")
    assert bench.evaluate(PLAYER)["peaks"]["after"] <= 10 ** (-12 / 20) + 1e-6
    bench.get_by_role("button", name="Pause").click()
    assert bench.evaluate(PLAYER)["playing"] is False


def test_a_cell_that_is_run_again_leaves_nothing_behind(lab, bench):
    bench.get_by_role("button", name="Play").click()
    bench.wait_for_function(f"() => ({PLAYER})()?.playing")
    bench.evaluate("window.sounded = [...course.players.values()][0].loop")
    count = """() => [course.bokeh.library.documents.length, course.players.size,
        document.querySelectorAll('.gainlib-bench').length]"""
    for _ in range(2):
        lab.run_all(bench)
        bench.wait_for_function(f"() => JSON.stringify(({count})()) === '[2,1,1]'", timeout=10_000)
    assert bench.evaluate(PLAYER) is None
    assert bench.evaluate("[sounded.playing, Object.keys(sounded.slots).length]") == [False, 0]


def test_a_page_that_is_loaded_again_shows_where_the_bench_stands(lab, page):
    bench = lab.run(page, "again.ipynb", OPENING, BENCH, pictures=2)
    gain = bench.get_by_role("slider", name="Preamp gain")
    gain.focus()
    for _ in range(5):
        bench.keyboard.press("ArrowLeft")
    bench.wait_for_function(f"() => ({DRAWN})('numbers').text[1] === '−2'")
    bench.keyboard.press("Control+s")
    bench.wait_for_function("() => !jupyterapp.shell.currentWidget.context.model.dirty")
    bench.goto(f"{lab.base}/lab/tree/again.ipynb?token={lab.token}&reset")
    lab.drawn(bench, 2)
    assert bench.evaluate(DRAWN, "numbers")["text"] == ["peak −30", "−2", "−20 dBFS", "−20"]
    assert bench.get_by_role("slider", name="Preamp gain").get_attribute("aria-valuetext") == "+28.0 dB"


def test_an_exercise_is_checked_on_the_page_and_the_attempt_is_kept(lab, page, keep):
    earlier = sum(each["exercise"] == "recording/leave-room" for each in Progress.at(lab.root, make=False).attempts)
    lab.run(page, "exercise.ipynb", "import gainlib as gl", 'gl.exercise("recording/leave-room")', pictures=2)
    page.get_by_role("button", name="Check my answer").click()
    verdict = page.locator(".gainlib-verdict")
    verdict.get_by_text("Not there yet: 0 of 5 points.").wait_for()
    assert verdict.get_attribute("aria-live") == "polite"
    assert verdict.locator("li").count() == 3
    assert all("○ not met" in each for each in verdict.locator("li").all_inner_texts())
    page.get_by_role("button", name="Show a hint (free)").click()
    page.get_by_role("button", name="Show a hint (costs 0.5 points)").wait_for()
    gain = page.get_by_role("slider", name="Preamp gain")
    gain.focus()
    for _ in range(7):  # seven decibels lower than the start stands the verse at -15 dBFS
        page.keyboard.press("ArrowLeft")
    verdict.get_by_text("You have changed your answer since; check again.").wait_for()
    page.get_by_role("button", name="Check my answer").click()
    verdict.get_by_text("Passed: 5 of 5 points.").wait_for()
    assert all("● met" in each for each in verdict.locator("li").all_inner_texts())
    assert verdict.get_by_text(f"attempt {earlier + 2}, 5 of 5 points").is_visible()
    assert (lab.root / "progress.json").is_file()
    page.locator(".gainlib-answer").scroll_into_view_if_needed()
    keep(page, "exercise")


def test_what_one_widget_keeps_every_other_sees(bench):
    # As widgets come: each a text of its own, loaded from an address of its own.
    found = bench.evaluate(
        """async shared => {
            const load = text => import(URL.createObjectURL(new Blob([text], { type: "text/javascript" })));
            const from = `import { players } from "${shared}"; export const`;
            const one = await load(`${from} keep = () => players.set("mine", 7);`);
            const other = await load(`${from} sees = () => [...players.keys()];`);
            one.keep();
            const sees = other.sees();
            course.players.delete("mine");
            return [sees.includes("mine"), sees.length, other.sees().length, "gainlib" in window];
        }""",
        SHARED_URL,
    )
    assert found == [True, 2, 1, False]  # beside the player of the bench, which came in a widget of its own


# The loop player's samples, rendered without a sound card: a ramp tells at which place of which version each sample is.
RENDERED = """async ([script, swapAt, versions, gains, ceiling, level]) => {
    const { Loop } = await import(URL.createObjectURL(new Blob([script], { type: "text/javascript" })));
    const rate = 48000;
    const context = new OfflineAudioContext(1, 3 * rate, rate);
    const loop = new Loop(context, ceiling);
    const buffers = versions.map(codes => {
        const bytes = new Uint8Array(new Int16Array(codes).buffer);
        return Loop.decoded(context, new DataView(bytes.buffer), 1, codes.length, rate, ceiling);
    });
    loop.level = level;
    loop.gains = gains;
    loop.hold("after", buffers[0]);
    loop.hold("before", buffers[2]);
    loop.play();
    const steps = [() => loop.hold("after", buffers[1]), () => loop.choose("before")];
    swapAt.forEach((seconds, index) => context.suspend(seconds).then(() => { steps[index](); context.resume(); }));
    return (await context.startRendering()).getChannelData(0);
}"""


def loop_heard(lab, page, versions, *, gains=None, ceiling=0.25, level=1.0, swap_at=(1.0, 2.0)):
    given = [Player._esm, list(swap_at), [each.tolist() for each in versions], gains or {}, ceiling, level]
    return lab.samples(page, RENDERED, given)


def test_versions_are_swapped_at_the_place_where_the_loop_is_without_a_gap_or_a_click(lab, page):
    length = 30_000  # the loop comes round within each second
    ramp = np.arange(length)
    versions = [(ramp // 2 + offset).astype(np.int16) for offset in (1000, 8000, 15_000)]
    gains = {"after": 1.0, "before": 0.5}
    heard = loop_heard(lab, page, versions, gains=gains, swap_at=(1.0, 2.0))
    expected = [version / 32767 * 0.25 * gain for version, gain in zip(versions, (1.0, 1.0, 0.5), strict=True)]
    place = np.arange(3 * 48_000) % length
    # The context stops at whole blocks of 128 samples; the crossfade takes 20 ms, and the first half second fades in.
    settled = [(25_000, 47_900), (49_300, 95_900), (97_300, 144_000)]
    for (start, end), version in zip(settled, expected, strict=True):
        assert np.abs(heard[start:end] - version[place[start:end]]).max() < 2e-6
    # While it fades, what is heard is a straight blend of the two.
    for start, old, new in ((47_900, 0, 1), (95_900, 1, 2)):
        part = slice(start, start + 1400)
        one, other = expected[old][place[part]], expected[new][place[part]]
        share = (heard[part] - one) / (other - one)
        assert share.min() > -1e-3
        assert share.max() < 1 + 1e-3
        assert np.diff(share).min() > -1e-3
        assert np.diff(share).max() < 1 / 960 + 1e-3  # 960 samples are 20 ms


def test_playing_fades_in_from_nothing(lab, page):
    steady = np.full(48_000, 32_767, dtype=np.int16)
    heard = loop_heard(lab, page, [steady] * 3)
    assert heard[0] == 0.0
    assert heard[:48].max() < 0.001
    assert heard[12_000] == pytest.approx(0.125, abs=0.002)  # halfway up after a quarter of a second
    assert heard[25_000] == pytest.approx(0.25, abs=1e-5)
    assert np.diff(heard[:25_000]).max() < 1e-4


def test_the_page_has_a_ceiling_of_its_own(lab, page):
    steady = np.full(48_000, 32_767, dtype=np.int16)
    # Gains that no part of the course sends: a thousandfold level and matching that raises.
    heard = loop_heard(lab, page, [steady, -steady, steady], gains={"after": 50.0, "before": 50.0}, level=1000.0)
    assert np.abs(heard).max() == pytest.approx(0.25, abs=1e-6)
    assert math.isfinite(heard.sum())
