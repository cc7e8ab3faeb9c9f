"""Picture and control on screen together, what a bench shows at first, and windows that are small.

The suite looks at the lesson that the next file's tests use as well. GAINLIB_LAYOUT_LESSONS names others, by number or
by name ("03,07", "read-meters"), or "all"; one at a time, each in a process of its own, is the quickest way to see all.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser

ALL = sorted(each.name for each in (Path(__file__).parents[2] / "lessons").glob("[0-9][0-9]-*.ipynb"))
WANTED = (os.environ.get("GAINLIB_LAYOUT_LESSONS") or "set-recording-level").split(",")
CHOSEN = [each for each in ALL if WANTED == ["all"] or {each[:2], each[3:].removesuffix(".ipynb")} & set(WANTED)]
assert CHOSEN, f"no lesson is {', '.join(WANTED)}"
SIZES = ((1366, 768), (1024, 768))

# Each bench is brought to the top of the window; what is told stands outside of it, with the pixels that are missing.
OUTSIDE = """async () => {
    const painted = () => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)));
    const around = document.querySelector(".jp-WindowedPanel-outer");
    const found = [];
    const staying = ".gainlib-headline, .gainlib-below, .gainlib-beside";
    const bottoms = (bench) => [...bench.querySelectorAll(staying)].map(each => each.getBoundingClientRect().bottom);
    const lowest = (bench) => Math.max(...bottoms(bench));
    for (const bench of document.querySelectorAll(".gainlib-bench")) {
        if (!bench.querySelector(":is(.gainlib-below, .gainlib-beside) input, .gainlib-beside select")) continue;
        const window = around.getBoundingClientRect();
        around.scrollBy({ top: bench.getBoundingClientRect().top - window.top, behavior: "instant" });
        // What comes into the window for the first time takes its room then, and moves what is below.
        for (let again = 0; again < 4; again++) {
            await painted();
            around.scrollBy({ top: bench.getBoundingClientRect().top - window.top, behavior: "instant" });
        }
        await painted();
        const parts = [".gainlib-headline", ".gainlib-picture", ".gainlib-below", ".gainlib-beside"];
        const name = bench.querySelector(".gainlib-title").textContent || bench.querySelector("strong").textContent;
        for (const part of parts) {
            const box = bench.querySelector(part)?.getBoundingClientRect();
            const missing = box ? Math.max(window.top - box.top, box.bottom - window.bottom) : 0;
            if (missing > 1) found.push(`${name}: ${part} by ${Math.round(missing)}`);
        }
        // The further pictures come under the controls, which stay.
        if (!bench.classList.contains("gainlib-stays")) continue;
        for (const picture of bench.querySelectorAll(":scope > .gainlib-picture")) {
            const last = picture.getBoundingClientRect().bottom;
            around.scrollBy({ top: last - window.bottom + 2, behavior: "instant" });
            await painted();
            around.scrollBy({ top: picture.getBoundingClientRect().bottom - window.bottom + 2, behavior: "instant" });
            await painted();
            for (const control of bench.querySelectorAll(":is(.gainlib-below, .gainlib-beside) input[type=range]")) {
                const box = control.getBoundingClientRect();
                const under = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
                if (under !== control) found.push(`${name}: ${control.ariaLabel} is not there beside a later picture`);
            }
            const covered = lowest(bench) - picture.getBoundingClientRect().top;
            if (covered > 1) found.push(`${name}: the upper ${Math.round(covered)} of a later picture are covered`);
        }
        // Where the bench ends they leave together.
        const headline = bench.querySelector(".gainlib-headline");
        const controls = [...bench.querySelectorAll(".gainlib-below, .gainlib-beside")];
        for (const left of [0.9, 0.5, 0.2]) {
            const room = left * (lowest(bench) - headline.getBoundingClientRect().top);
            around.scrollBy({ top: bench.getBoundingClientRect().bottom - window.top - room, behavior: "instant" });
            await painted();
            const over = headline.getBoundingClientRect().bottom - controls[0].getBoundingClientRect().top;
            if (over > 1) found.push(`${name}: the headline covers ${Math.round(over)} of the controls at the end`);
        }
    }
    return found;
}"""
# What stands beyond the right edge of a bench and cannot be brought there.
CUT_OFF = """() => [...document.querySelectorAll(".gainlib-bench")].flatMap(bench => {
    const edge = bench.closest(".jp-OutputArea-output").getBoundingClientRect().right;
    return [...bench.querySelectorAll("input, button, select")].filter(each => each.offsetParent
        && each.getBoundingClientRect().right > edge + 1 && !each.closest(".gainlib-narrow"))
        .map(each => each.ariaLabel || each.textContent || each.className);
})"""
# How wide the narrowest picture without stages is: one whose words would lie over each other in so small a window is
# moved sideways. (A level diagram is as wide as its stages need, which the names below look at.)
LEAST_WIDE = """() => Math.min(Infinity, ...[...document.querySelectorAll(".gainlib-place")]
    .filter(each => !each.closest(".gainlib-strip:not(.gainlib-stages-0)")).map(each => each.clientWidth))"""
# The least room between the names of two stages, from the figure's own texts and the width of its frame. A page that
# draws only what is near the window has no place for the others.
NARROWEST = """() => Math.min(Infinity, ...[...document.querySelectorAll(".gainlib-strip")].flatMap(strip => {
    const count = Number(/gainlib-stages-([0-9]+)/.exec(strip.innerHTML + strip.className)?.[1]);
    const wide = strip.querySelector(".gainlib-place")?.clientWidth;
    const pen = document.createElement("canvas").getContext("2d");
    pen.font = "bold 11.5px sans-serif";
    return course.bokeh.library.documents.map(each => [each.get_model_by_name("stages")?.data.text, each.roots()[0]])
        .filter(([text, figure]) => text?.length === count && Math.abs(figure.outer_width - wide) < 2)
        .flatMap(([text, figure]) => text.slice(1).map((name, index) => figure.inner_width / count
            - (pen.measureText(name).width + pen.measureText(text[index]).width) / 2));
}))"""
# The same of what is told below the names, how much is left or how often it clips: of what stands at one height.
NARROWEST_BELOW = """() => Math.min(Infinity, ...course.bokeh.library.documents.flatMap(each => {
    const [figure] = each.roots();
    const pixels = figure.inner_width / (figure.x_range?.end - figure.x_range?.start);
    const pen = document.createElement("canvas").getContext("2d");
    const told = each.get_model_by_name("stages") ? ["room", "trouble"].flatMap(name => {
        pen.font = name === "trouble" ? "bold 11.5px sans-serif" : "11.5px sans-serif";
        const { x, y, text } = each.get_model_by_name(name).data;
        return [...text].map((words, index) => ({ x: x[index], y: y[index], half: pen.measureText(words).width / 2 }));
    }).sort((one, other) => one.y - other.y || one.x - other.x) : [];
    return told.slice(1).flatMap(({ x, y, half }, index) =>
        y === told[index].y ? [pixels * (x - told[index].x) - half - told[index].half] : []);
}))"""


@pytest.fixture(params=CHOSEN)
def lesson(request, lab, page):
    """A lesson that was run to its end."""
    if not lab.shows(page, request.param):
        lab.open(page, request.param)
        lab.run_all(page)
    # Pictures that the notebook has not yet put on the page are drawn when it does.
    page.wait_for_function("""() => {
        const places = [...document.querySelectorAll(".gainlib-place")];
        return places.length && places.every(each => each.querySelector(".bk-Figure, .gainlib-still"));
    }""")
    page.evaluate("() => jupyterapp.shell.collapseLeft()")
    yield page
    page.evaluate("() => jupyterapp.shell.expandLeft()")


def at(page, width, height):
    """Give the window another size, and wait until the benches have taken it up."""
    page.set_viewport_size({"width": width, "height": height})
    page.wait_for_function(
        """() => new Promise(done => {
            const wide = () => [...document.querySelectorAll(".gainlib-bench")].map(each => each.clientWidth).join();
            const before = wide();
            requestAnimationFrame(() => requestAnimationFrame(() => done(wide() === before)));
        })"""
    )


def test_headline_picture_and_control_are_on_screen_together(lesson):
    for width, height in SIZES:
        at(lesson, width, height)
        assert lesson.evaluate(OUTSIDE) == [], (width, height)


def test_in_a_small_window_names_stand_apart_and_no_control_is_cut_off(lesson, keep):
    for width, height in ((680, 768), (390, 800)):
        at(lesson, width, height)
        lesson.wait_for_function(f"() => ({NARROWEST})() > 2")
        lesson.wait_for_function(f"() => ({NARROWEST_BELOW})() > 0")
        assert lesson.evaluate(CUT_OFF) == [], width
        assert lesson.evaluate(LEAST_WIDE) >= 400, width
        lesson.locator(".gainlib-strip").first.scroll_into_view_if_needed()
        keep(lesson, f"layout-{width}")
