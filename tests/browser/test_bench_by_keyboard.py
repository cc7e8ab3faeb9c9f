"""A bench by keyboard alone, what it says when something cannot be, both themes, and what an engine finds in it."""

from __future__ import annotations

from importlib import resources

import pytest

pytestmark = pytest.mark.browser

OPENING = """\
import numpy as np
import gainlib as gl
sine = np.sin(2 * np.pi * 997 * np.arange(4 * 48_000) / 48_000)
chain = [
    gl.Source(-30.0), gl.Preamp(33.0), gl.Converter("EBU R 68"), gl.Ride(points=((1.0, 0.0), (2.0, -6.0))), gl.Fader(),
]
session = gl.Session.of(gl.Audio(sine, 48_000), chain, name="voice")"""
BENCH = """\
bench = gl.bench(
    session, views=["level diagram", "waveform"],
    controls=["preamp/gain_db", "converter/alignment", "ride/points", "fader/gain_db", "fader/muted"],
)
bench"""


@pytest.fixture
def bench(lab, page):
    return lab.run(page, "keyboard.ipynb", OPENING, BENCH, pictures=2)


def said(page, words):
    page.locator(".gainlib-said", has_text=words).wait_for()


def spoken(slider, words):
    slider.page.wait_for_function(
        "([each, words]) => each.getAttribute('aria-valuetext') === words", arg=[slider.element_handle(), words]
    )


def test_undo_redo_and_two_settings_by_key(bench, pressed_at, keep):
    gain = bench.get_by_role("slider", name="Preamp gain")
    gain.focus()
    pressed_at(0)
    for _ in range(5):
        bench.keyboard.press("ArrowRight")
    spoken(gain, "+38.0 dB")
    pressed_at(1001)  # a pause of a second begins another step
    for _ in range(2):
        bench.keyboard.press("ArrowRight")
    spoken(gain, "+40.0 dB")
    for key, value, words in [
        ("t", "+40.0 dB", "Kept as A."),
        ("u", "+38.0 dB", "Undone: Preamp gain to +38.0 dB."),
        ("u", "+33.0 dB", "Undone: Preamp gain to +33.0 dB."),
        ("u", "+33.0 dB", "there is nothing to undo"),
        ("Shift+U", "+38.0 dB", "Done again: Preamp gain to +38.0 dB."),
        ("Shift+T", "+38.0 dB", "Kept as B."),
        ("g", "+40.0 dB", "These are the settings kept as A."),
        ("g", "+38.0 dB", "These are the settings kept as B."),
    ]:
        bench.keyboard.press(key)
        said(bench, words)
        spoken(gain, value)
    bench.keyboard.press("w")
    said(bench, "The settings")
    text = bench.get_by_role("textbox", name="The settings as text").input_value()
    assert text.splitlines()[:3] == [
        "# Voice, 4 s",
        "# Preamp gain: +38.0 dB",
        "# Converter alignment: +18 dBu, EBU R 68",
    ]
    assert 'stage = "Preamp"' in text  # and the session as a file has it
    assert bench.locator(".jp-Cell").count() == 2  # not a key reached the notebook
    bench.locator(".gainlib-row").scroll_into_view_if_needed()
    keep(bench, "steps")


def test_a_drag_with_the_mouse_is_one_step(lab, bench):
    gain = bench.get_by_role("slider", name="Preamp gain")
    gain.scroll_into_view_if_needed()
    box = gain.bounding_box()
    middle = box["y"] + box["height"] / 2
    bench.mouse.move(box["x"] + box["width"] * 0.55, middle)
    bench.mouse.down()
    for share in (0.6, 0.65, 0.7, 0.8, 0.9):
        bench.mouse.move(box["x"] + box["width"] * share, middle)
        lab.settled(bench)  # each step of the drag is rendered
    bench.mouse.up()
    bench.wait_for_function("() => [...document.querySelectorAll('.gainlib-toolbar button')][0].disabled === false")
    assert float(gain.input_value()) > 45
    bench.get_by_role("button", name="Undo").click()
    spoken(gain, "+33.0 dB")
    bench.wait_for_function("() => [...document.querySelectorAll('.gainlib-toolbar button')][0].disabled === true")


FOCUSED = """() => {
    const each = document.activeElement;
    const style = getComputedStyle(each);
    const name = each.getAttribute("aria-label") || each.textContent || each.labels?.[0]?.textContent || "";
    return [each.closest(".gainlib-bench") ? name.trim() : null, style.outlineStyle !== "none", each.type];
}"""


def test_every_control_is_reached_with_the_keys_and_shows_where_it_is(bench):
    bench.get_by_role("slider", name="Preamp gain").focus()
    for key in ("Tab", "Shift+Tab"):  # whatever was clicked before, the focus is the keyboard's now
        bench.keyboard.press(key)
    reached = []
    while (now := bench.evaluate(FOCUSED))[0] not in (None, "Play"):
        reached.append(now)
        assert len(reached) < 40, reached
        bench.keyboard.press("Tab")
    assert now[0] == "Play"
    # The row is one stop for Tab; an arrow key goes along it and round.
    while now not in reached:
        reached.append(now)
        bench.keyboard.press("ArrowDown" if now[2] == "range" else "ArrowRight")
        now = bench.evaluate(FOCUSED)
    bench.keyboard.press("Tab")
    assert bench.evaluate(FOCUSED)[0] is None
    bench.keyboard.press("Shift+Tab")
    assert bench.evaluate(FOCUSED)[0] == "Play"
    bench.keyboard.press("ArrowLeft")
    assert bench.evaluate(FOCUSED)[0] == reached[-1][0]
    names = [name for name, *_ in reached]
    for wanted in (
        "Preamp gain", "Preamp gain in figures, dB", "Converter alignment", "Fader", "Fader muted",
        "Ride points, point 1, seconds", "Ride points, point 2, gain in dB", "Remove point 1 of Ride points",
        "Add a point", "Keep as A", "Copy as text", "Reset", "Less", "Play", "before", "after",
        "Place in the recording",
    ):  # fmt: skip
        assert wanted in names, (wanted, names)
    assert all(shown for _, shown, _ in reached), reached


def test_a_choice_and_a_switch_by_keyboard(bench):
    choice = bench.get_by_role("combobox", name="Converter alignment")
    choice.focus()
    # +3 dBu from the preamp, and full scale at +20 dBu in place of +18
    bench.keyboard.press("ArrowDown")
    bench.wait_for_function("() => document.querySelector('.gainlib-caption')?.textContent.includes('−17.0 dBFS')")
    muted = bench.get_by_role("checkbox", name="Fader muted")
    muted.focus()
    bench.keyboard.press("Space")
    bench.wait_for_function("() => document.querySelector('.gainlib-caption')?.textContent.includes('silence')")
    assert bench.locator(".gainlib-pick-state").inner_text() == "yes"
    bench.keyboard.press("u")
    bench.wait_for_function("() => document.querySelector('.gainlib-caption')?.textContent.includes('−17.0 dBFS')")
    assert muted.is_checked() is False


def test_a_control_at_its_end_says_so(bench):
    gain = bench.get_by_role("slider", name="Preamp gain")
    gain.focus()
    for key, words in (("End", "+60.0 dB, at its highest"), ("Home", "0.0 dB, at its lowest")):
        bench.keyboard.press(key)
        spoken(gain, words)
        assert bench.locator(".gainlib-end").first.inner_text() == words.split(", ")[1]
    bench.keyboard.press("ArrowRight")
    spoken(gain, "+1.0 dB")
    assert bench.locator(".gainlib-end").first.inner_text() == ""


def test_a_ride_by_keyboard_in_the_table(lab, bench, keep):
    gain = bench.get_by_role("textbox", name="Ride points, point 2, gain in dB")
    gain.fill("-20")
    gain.press("Enter")
    bench.get_by_role("button", name="Add a point").press("Enter")
    added = bench.get_by_role("textbox", name="Ride points, point 3, seconds")
    assert added.input_value() == "3.00"
    lab.settled(bench)  # points that are set faster than the kernel hears of them are one step
    assert bench.evaluate("document.activeElement.getAttribute('aria-label')") == "Ride points, point 3, seconds"
    bench.locator(".gainlib-ride").scroll_into_view_if_needed()
    keep(bench, "ride-table")
    complaint = bench.locator(".gainlib-ride .gainlib-complaint")
    for wrong, words in (
        ("9", "Point 3: 9 s is out of reach; give 0 s to 4 s."),
        ("1.5", "Point 3 must come later than point 2."),
    ):
        added.fill(wrong)
        added.press("Enter")
        assert complaint.inner_text() == words
        assert added.input_value() == "3.00"
    bench.get_by_role("button", name="Remove point 3 of Ride points").press("Enter")
    bench.wait_for_function("() => document.querySelectorAll('.gainlib-ride tbody tr').length === 2")
    for count in (3, 2):  # removed, added: taken back one by one
        bench.get_by_role("button", name="Undo").click()
        bench.wait_for_function(f"() => document.querySelectorAll('.gainlib-ride tbody tr').length === {count}")
    bench.get_by_role("button", name="Undo").click()
    bench.wait_for_function(
        "() => document.querySelectorAll('.gainlib-ride tbody tr:nth-child(2) input')[1].value === '−6.0'"
    )


INK = """() => [...course.bokeh.library.documents[0]._all_models.values()].find(each => each.type === "Line" &&
    (each.tags ?? []).includes("line_color=peak")).line_color.value"""
# Contrast of every visible text of the bench against the page, by the formula of WCAG 2.1.
POOR = """() => {
        const light = colour => {
            const [r, g, b] = colour.match(/[\\d.]+/g).slice(0, 3).map(each => each / 255)
                .map(each => each <= 0.04045 ? each / 12.92 : ((each + 0.055) / 1.055) ** 2.4);
            return 0.2126 * r + 0.7152 * g + 0.0722 * b;
        };
        const paper = element => {
            for (let each = element; each; each = each.parentElement) {
                const { backgroundColor } = getComputedStyle(each);
                if (!/^rgba\\(.*, 0\\)$|transparent/.test(backgroundColor)) return backgroundColor;
            }
            return "rgb(255, 255, 255)";
        };
        return [...document.querySelectorAll(".gainlib-bench *")].filter(each => each.offsetParent && !each.disabled
            && [...each.childNodes].some(node => node.nodeType === 3 && node.textContent.trim())).map(each => {
            const [a, b] = [light(getComputedStyle(each).color), light(paper(each))];
            const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
            return ratio < 4.5 ? `${each.tagName} ${each.textContent.slice(0, 20)} ${ratio.toFixed(2)}` : "";
        }).filter(Boolean);
}"""


def test_it_follows_the_theme_and_is_readable_in_both_at_both_widths(lab, bench, keep):
    assert bench.evaluate(INK) == "#0072B2"
    try:
        for theme, ink in (("Dark", "#56B4E9"), ("Light", "#0072B2")):
            lab.theme(bench, theme)
            bench.wait_for_function(f"ink => ({INK})() === ink", arg=ink)
            for width in (1280, 1600):
                bench.set_viewport_size({"width": width, "height": 1100})
                # The colours of a theme fade in.
                bench.wait_for_function(f"() => !({POOR})().length || document.getAnimations().length === 0")
                assert bench.evaluate(POOR) == []
                keep(bench, f"bench-{theme.lower()}-{width}")
    finally:
        lab.theme(bench, "Light")


def test_it_can_be_read_at_twice_the_size(bench, keep):
    bench.set_viewport_size({"width": 640, "height": 550})  # 1280 x 1100 at 200 %
    bench.evaluate("() => jupyterapp.shell.collapseLeft()")  # the file browser is put away
    bench.locator(".gainlib-bench").scroll_into_view_if_needed()
    keep(bench, "bench-200-percent")
    for part in (".gainlib-bench", ".gainlib-row", ".gainlib-headline"):
        # Bokeh lays a figure out some frames after the window has changed.
        bench.wait_for_function(
            """part => {
                const { scrollWidth, clientWidth } = document.querySelector(part);
                return scrollWidth <= clientWidth + 1;
            }""",
            arg=part,
        )
    bench.evaluate("() => jupyterapp.shell.expandLeft()")


def axe() -> str:
    """The script of the accessibility engine axe-core, as a Python package of the test extra carries it."""
    return resources.files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")


def test_an_accessibility_engine_finds_no_serious_fault(bench):
    bench.evaluate(axe())
    found = bench.evaluate("""async () => {
        const { violations } = await axe.run(".gainlib-bench");
        return violations.filter(each => ["serious", "critical"].includes(each.impact))
            .map(each => `${each.id}: ${each.nodes.map(node => node.html.slice(0, 160)).join(" | ")}`);
    }""")
    assert found == []


def test_a_faders_slider_travels_in_millimetres(bench):
    fader = bench.get_by_role("slider", name="Fader", exact=True)
    fader.focus()
    spoken(fader, "0.0 dB, 75.0 mm up")
    steps = [
        ("ArrowLeft", "−0.4 dB, 74.0 mm up"), ("Shift+ArrowLeft", "−0.5 dB, 73.8 mm up"),
        ("Home", "−60.0 dB, 10.0 mm up, at its lowest"), ("ArrowRight", "−58.0 dB, 11.0 mm up"),
        ("Shift+ArrowRight", "−57.5 dB, 11.3 mm up"), ("End", "+10.0 dB, 100.0 mm up, at its highest"),
    ]  # fmt: skip
    for key, words in steps:
        bench.keyboard.press(key)
        spoken(fader, words)
    typed = bench.get_by_role("textbox", name="Fader in figures, dB")
    typed.fill("-31.2")
    typed.press("Enter")
    spoken(fader, "−31.2 dB, 24.4 mm up")
    # The middle of the slider by mouse is the middle of the travel: 55 mm, not the middle of the decibels.
    box = fader.bounding_box()
    bench.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    spoken(fader, "−8.0 dB, 55.0 mm up")
