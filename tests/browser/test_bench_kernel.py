"""A bench when its kernel goes, in a saved notebook, two in one notebook, and run from top to bottom again."""

from __future__ import annotations

import pytest
from waiting import wait_until

pytestmark = pytest.mark.browser

OPENING = """\
import numpy as np
import gainlib as gl
sine = np.sin(2 * np.pi * 997 * np.arange(2 * 48_000) / 48_000)
chain = [gl.Source(-30.0), gl.Preamp(33.0), gl.Converter("EBU R 68"), gl.Trim()]
session = gl.Session.of(gl.Audio(sine, 48_000), chain, name="voice")"""
FIRST = """\
first = gl.bench(session, controls=["preamp/gain_db", "trim/gain_db"], views=["level diagram", "waveform"])
first"""
SECOND = """\
second = gl.bench(session, controls=["preamp/gain_db"], title="Another")
second"""


def headline(page, index=0):
    return page.locator(".gainlib-headline-line").nth(index).inner_text().replace("\xa0", " ")


def restart(page):
    page.click('.lm-MenuBar-item:has-text("Kernel")')
    page.click('.lm-Menu-item[data-command="kernelmenu:restart"]')
    page.get_by_role("button", name="Confirm Kernel Restart").click()


LINE = ".gainlib-page-line"
# A page hears of a new kernel when that says something; its very first words may come before anybody listens.
ASK = "() => { jupyterapp.shell.currentWidget.context.sessionContext.session?.kernel?.requestKernelInfo(); }"
SAVE = "() => jupyterapp.shell.currentWidget.context.save()"
KEEPS_WIDGETS = """async (wanted) => {
    const command = "@jupyter-widgets/jupyterlab-manager:saveWidgetState";
    if (jupyterapp.commands.isToggled(command) !== wanted) await jupyterapp.commands.execute(command);
    if (jupyterapp.commands.isToggled(command) !== wanted) throw new Error("the setting was not taken");
}"""


def moved(page, index=0):
    gain = page.get_by_role("slider", name="Preamp gain").nth(index)
    gain.focus()
    page.keyboard.press("End")
    page.wait_for_function(
        "index => document.querySelectorAll('.gainlib-headline-line')[index].textContent.includes('times')", arg=index
    )


def test_a_restarted_kernel_is_said_and_the_cell_run_again_moves(lab, page, keep):
    lab.run(page, "restart.ipynb", OPENING, FIRST, pictures=2)
    moved(page)
    before = headline(page)
    restart(page)
    page.locator(LINE, has_text="The kernel of this page was restarted").wait_for()
    # Said once, above; a page without the extension has the bench's own sentence.
    message = page.locator(".gainlib-headline .gainlib-message")
    assert not message.is_visible()
    assert "choose Run > Run All Cells" in message.text_content()
    assert headline(page) == before  # the last picture and its sentence stay
    live = page.locator(".gainlib-bench :is(input, button, select, textarea):not(:disabled)")
    assert live.count() == 0
    page.locator(".gainlib-bench").scroll_into_view_if_needed()
    keep(page, "kernel-restarted")
    lab.run_all(page)
    lab.drawn(page, 2)
    moved(page)
    assert page.locator(".gainlib-headline .gainlib-message").text_content() == ""
    assert page.locator(LINE).count() == 0


@pytest.mark.parametrize(
    ("path", "method", "said"),
    [
        ("/restart", "POST", "The kernel of this page was restarted"),
        ("", "DELETE", "The kernel of this page has ended"),
    ],
    ids=["restarted", "ended"],
)
def test_a_kernel_that_goes_from_elsewhere_is_said_once_and_a_press_brings_the_page_back(lab, page, path, method, said):
    # An exercise of candidates has no bench, and says so where it is checked.
    lab.open(page, lab.write("elsewhere.ipynb", OPENING, FIRST, SECOND, 'gl.exercise("compressor/louder-or-better")'))
    lab.run_all(page)
    # Of the notebook before there may be pictures in memory still, so those on this page are counted.
    page.wait_for_function("() => document.querySelectorAll('.gainlib-bench .bk-Figure').length >= 3")
    kernel = page.evaluate("() => jupyterapp.shell.currentWidget.context.sessionContext.session.kernel.id")
    lab.ask(f"api/kernels/{kernel}{path}", method, b"{}" if path else None)
    page.evaluate(ASK)
    page.locator(LINE, has_text=said).wait_for()
    page.wait_for_function("() => document.querySelectorAll('.gainlib-bench.gainlib-gone').length >= 2")
    assert page.locator(".gainlib-bench :is(input, button, select):not(:disabled)").count() == 0
    page.get_by_role("button", name="Check my answer").and_(page.locator(":disabled")).wait_for()
    # Each panel's own sentence is for a page without the extension.
    assert page.locator(".gainlib-message:visible, .gainlib-missing:visible").count() == 0
    assert page.locator(".gainlib-missing", has_text="No kernel answers, so nothing can be checked").count() == 1
    page.get_by_role("button", name="Run this page").click()
    page.wait_for_function("() => !document.querySelector('.gainlib-page-line')", timeout=60_000)
    page.locator(".gainlib-headline-line").first.wait_for()
    moved(page)


LOSE = """() => {
    const { kernel } = jupyterapp.shell.currentWidget.context.sessionContext.session;
    const socket = kernel._ws, hear = socket.onmessage;
    const lost = new Set();
    socket.onmessage = (event) => {
        const message = kernel.serverSettings.serializer.deserialize(event.data, socket.protocol);
        const { channel, parent_header: of } = message;
        if (channel === "iopub" && of.msg_type === "execute_request" && lost.size < 2) lost.add(of.msg_id);
        if (channel !== "iopub" || !lost.has(of.msg_id)) hear(event);
    };
}"""


def test_a_page_goes_on_where_what_a_new_kernel_said_first_was_lost(lab, page):
    # As when somebody presses before the server's way to a kernel that was started anew stands in both directions.
    lab.run(page, "lost.ipynb", OPENING, FIRST, pictures=2)
    kernel = page.evaluate("() => jupyterapp.shell.currentWidget.context.sessionContext.session.kernel.id")
    page.evaluate(LOSE)
    lab.ask(f"api/kernels/{kernel}/restart", "POST", b"{}")
    page.evaluate(ASK)
    page.get_by_role("button", name="Run this page").click()
    page.wait_for_function("() => !document.querySelector('.gainlib-page-line')")
    moved(page)


def test_pictures_are_drawn_after_a_kernel_that_was_busy_for_long(lab, clocked_page, busy_cell):
    """A picture stops asking after 15 seconds; a lesson run from top to bottom may keep the kernel longer than that."""
    if clocked_page.evaluate("() => Boolean(window.course?.bokeh.library)"):
        lab.enter(clocked_page)  # a page that has drawn pictures before has all that it takes
    lab.open(clocked_page, lab.write("busy.ipynb", OPENING, FIRST, busy_cell))
    lab.hold()
    lab.start(clocked_page)
    clocked_page.locator(".gainlib-place").nth(1).wait_for(state="attached")
    clocked_page.clock.fast_forward(16_000)
    clocked_page.get_by_text("This picture waits for the kernel").nth(1).wait_for()
    lab.free()
    lab.drawn(clocked_page, 2)
    assert clocked_page.get_by_text("This picture waits for the kernel").count() == 0


def test_a_busy_kernel_is_called_busy_and_not_gone(lab, clocked_page, busy_cell):
    page = clocked_page
    lab.run(page, "working.ipynb", OPENING, FIRST, pictures=2)
    lab.hold()
    page.evaluate(
        """code => {
        jupyterapp.shell.currentWidget.context.sessionContext.session.kernel.requestExecute({ code });
    }""",
        busy_cell,
    )
    gain = page.get_by_role("slider", name="Preamp gain")
    gain.focus()
    page.keyboard.press("End")
    page.clock.fast_forward(8_100)
    page.get_by_role("alert").filter(has_text="The kernel is busy with another cell").wait_for()
    assert page.locator(".gainlib-message:visible").count() == 1
    assert gain.is_enabled()
    lab.free()
    page.locator(".gainlib-headline-line", has_text=" times").wait_for()
    page.wait_for_function("() => !document.querySelector('.gainlib-message:not([hidden])')")


def test_restart_and_run_all_leaves_one_bench_that_moves(lab, page):
    lab.run(page, "restart.ipynb", OPENING, FIRST, pictures=2)
    moved(page)
    page.get_by_role("button", name="Restart the kernel and run all cells").click()
    page.get_by_role("button", name="Confirm Kernel Restart").click()
    page.wait_for_function(
        "() => document.querySelector('.gainlib-headline-line')?.textContent.includes('Nothing clips')", timeout=60_000
    )
    lab.drawn(page, 2)
    assert page.locator(".gainlib-bench").count() == 1
    assert page.locator(".gainlib-message:visible").count() == 0
    moved(page)


def test_two_benches_in_one_notebook_move_apart(lab, page, keep):
    lab.run(page, "two.ipynb", OPENING, FIRST, SECOND, pictures=3)
    calm = headline(page, 1)
    moved(page, 0)
    assert headline(page, 1) == calm
    page.keyboard.press("u")
    page.wait_for_function(
        "() => !document.querySelectorAll('.gainlib-headline-line')[0].textContent.includes('times')"
    )
    moved(page, 1)
    assert "Nothing clips" in headline(page, 0)
    assert page.get_by_role("button", name="Redo").nth(0).is_enabled()
    assert page.get_by_role("button", name="Redo").nth(1).is_disabled()
    # One player at a time.
    for _ in range(2):
        page.get_by_role("button", name="Play").first.click()
        page.wait_for_function("() => [...course.players.values()].filter(each => each.loop?.playing).length === 1")
    keep(page, "two-benches")


def test_a_saved_notebook_shows_the_last_picture_and_its_sentence_with_no_kernel(lab, page, keep):
    lab.run(page, "saved.ipynb", OPENING, FIRST, pictures=2)
    page.evaluate(KEEPS_WIDGETS, True)
    try:
        moved(page)
        saved = lab.root / "saved.ipynb"
        page.evaluate(SAVE)
        # The pictures are kept when they have come to rest.
        wait_until(lambda: saved.read_text().count("data:image/png") >= 2, lambda: page.evaluate(SAVE))
        assert saved.stat().st_size < 1_000_000  # no BokehJS in the notebook
        lab.end_kernels()
        page.goto(f"{lab.base}/lab/tree/saved.ipynb?token={lab.token}&reset")
        page.locator(".gainlib-headline-line", has_text="The preamp clips").wait_for()
        page.get_by_role("alert").filter(has_text="No kernel answers this bench").wait_for()
        page.wait_for_function("""() => {  // an image has no width before it is decoded
            const stills = [...document.querySelectorAll("img.gainlib-still")];
            return stills.length === 2 && stills.every(each => each.naturalWidth > 300);
        }""")
        assert "clipped run" in page.locator(".gainlib-caption").inner_text()
        keep(page, "saved-without-kernel")
    finally:
        page.evaluate(KEEPS_WIDGETS, False)


def test_of_many_strips_the_chosen_one_is_shown(lab, page, keep):
    strips = """\
from gainlib.flow import Bus, Strip
take = gl.Audio(0.1 * sine, 48_000)
def chain(gain_db): return (gl.Source(-30.0), gl.Preamp(gain_db), gl.Converter("EBU R 68"), gl.Fader())
strips = (Strip("voice", take, chain(50.0)), Strip("bass", take, chain(40.0)), Strip("pad", take, chain(30.0)))
mix = gl.Session(strips, main=Bus("main", (gl.Fader(), gl.Limiter())))
gl.bench(mix, controls=[f"{each.name}/preamp/gain_db" for each in strips] + ["main/fader/gain_db"])"""
    lab.run(page, "strips.ipynb", OPENING, strips, pictures=1)
    assert page.locator(".gainlib-below label").all_inner_texts()[0] == "Preamp gain"
    keep(page, "strips-voice")
    chooser = page.get_by_role("combobox", name="Strip shown")
    chooser.focus()
    page.keyboard.press("ArrowDown")
    page.locator(".gainlib-beside label", has_text="Voice, preamp gain").wait_for()
    lab.drawn(page, 1)
    gain = page.get_by_role("slider", name="Bass, preamp gain")
    assert gain.get_attribute("aria-valuetext") == "+40.0 dB"
    text = """() => course.bokeh.library.documents[0].get_model_by_name('numbers').data.text[1]"""
    page.wait_for_function(f"() => ({text})() === '−10'")  # -30 dBu full scale, a take at -20 dBFS, +40 dB: in dBu
    gain.focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_function(f"() => ({text})() === '−9'")
    keep(page, "strips-bass")
