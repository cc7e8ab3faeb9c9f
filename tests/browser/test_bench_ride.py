"""A ride drawn with the pointer in a picture: points placed, dragged, taken away, and each of it undone."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser

# A view with nothing but the points, so that any view with a source "ride" is known to be drawn in.
CELL = """\
import numpy as np
import gainlib as gl
from bokeh.models import ColumnDataSource
from gainlib.views import View
from gainlib.views.style import frame, coloured

class Points(View):
    title = "Ride"
    def figure(self, rendering):
        drawing = frame(200, x_range=(0.0, 4.0), y_range=(-24.0, 12.0), x_axis_label="seconds", y_axis_label="dB")
        source = ColumnDataSource(data=self.columns(rendering)["ride"], name="ride")
        drawing.line("seconds", "gain_db", source=source, **coloured(line_color="peak"))
        drawing.scatter("seconds", "gain_db", source=source, size=10, **coloured(fill_color="peak"))
        return drawing
    def columns(self, rendering):
        points = np.array(rendering.session.setting("ride/points")).reshape(-1, 2)
        return {"ride": {"seconds": points[:, 0], "gain_db": points[:, 1]}}
    def sentence(self, rendering):
        return f"{len(rendering.session.setting('ride/points'))} points."

sine = np.sin(2 * np.pi * 997 * np.arange(4 * 48_000) / 48_000)
ride = gl.Ride(points=((1.0, 0.0), (2.0, -6.0)))
session = gl.Session.of(gl.Audio(0.1 * sine, 48_000), [gl.Trim(), ride], name="voice")
bench = gl.bench(session, controls=["ride/points"], views=[Points()])
bench"""

POINTS = """() => {
    const { seconds, gain_db } = course.bokeh.library.documents[0].get_model_by_name("ride").data;
    return [...seconds].map((each, index) => [each, gain_db[index]]);
}"""


@pytest.fixture
def ride(lab, page):
    """A page with a drawn ride, and where a place of it is on the screen."""
    lab.run(page, "ride.ipynb", CELL, pictures=1)

    def at(seconds, gain_db):
        page.locator(".gainlib-drawable").scroll_into_view_if_needed()  # a click on a button may have scrolled it away
        left, top, width, height = page.evaluate("""() => {
            const { frame } = [...course.bokeh.library.index.roots].find(each => each.frame);
            const box = document.querySelector(".gainlib-drawable").getBoundingClientRect();
            return [box.left + frame.bbox.left, box.top + frame.bbox.top, frame.bbox.width, frame.bbox.height];
        }""")
        return left + width * seconds / 4.0, top + height * (12.0 - gain_db) / 36.0

    return page, at


def near(page, points):
    page.wait_for_function(
        f"""points => {{
            const now = ({POINTS})();
            return now.length === points.length && now.every(([seconds, gain], index) =>
                Math.abs(seconds - points[index][0]) < 0.03 && Math.abs(gain - points[index][1]) < 0.4);
        }}""",
        arg=points,
    )


def undo(page):
    page.get_by_role("button", name="Undo").click()


def test_a_ride_is_drawn_in_the_picture(ride, pressed_at, keep):
    page, at = ride
    pressed_at(0)
    # Dragged, in many steps: one step for undo.
    page.mouse.move(*at(2.0, -6.0))
    page.mouse.down()
    for share in range(1, 11):
        page.mouse.move(*at(2.0 + 0.05 * share, -6.0 - 1.0 * share))
    page.mouse.up()
    near(page, [[1.0, 0.0], [2.5, -16.0]])
    # Placed where there was none.
    page.mouse.click(*at(3.5, 6.0))
    near(page, [[1.0, 0.0], [2.5, -16.0], [3.5, 6.0]])
    keep(page, "ride-drawn")
    # Dragged past its neighbour: it stops there.
    page.mouse.move(*at(1.0, 0.0))
    page.mouse.down()
    page.mouse.move(*at(3.0, 3.0), steps=5)
    page.mouse.up()
    near(page, [[2.49, 3.0], [2.5, -16.0], [3.5, 6.0]])
    undo(page)
    near(page, [[1.0, 0.0], [2.5, -16.0], [3.5, 6.0]])
    undo(page)
    near(page, [[1.0, 0.0], [2.5, -16.0]])
    undo(page)
    near(page, [[1.0, 0.0], [2.0, -6.0]])
    # Taken away.
    pressed_at(1000)
    page.mouse.dblclick(*at(1.0, 0.0))
    near(page, [[2.0, -6.0]])
    undo(page)
    near(page, [[1.0, 0.0], [2.0, -6.0]])
    fields = page.locator(".gainlib-ride input")
    assert [fields.nth(index).input_value() for index in range(4)] == ["1.00", "0.0", "2.00", "−6.0"]
