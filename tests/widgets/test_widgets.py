"""Each widget: its script beside it, its import of what all share, and a still of its own."""

from __future__ import annotations

import importlib
import pkgutil
import re
import threading
from pathlib import Path

import ipywidgets
import pytest

import gainlib.benches
import gainlib.widgets
from gainlib.widgets.assets import SHARED_URL, STYLES, script
from gainlib.widgets.base import CourseWidget, MovedWidget
from gainlib.widgets.pick_input import PickInput
from gainlib.widgets.question import QuestionInput
from gainlib.widgets.range_input import RangeInput
from gainlib.widgets.ride_table import RideTable

ROOM = Path(gainlib.widgets.__file__).parent
SCRIPTS = sorted(path.name for path in ROOM.glob("*.js") if path.name != "shared.js")


def widgets_of_the_course():
    for room in (gainlib.widgets, gainlib.benches):
        for info in pkgutil.iter_modules(room.__path__, f"{room.__name__}."):
            module = importlib.import_module(info.name)
            for thing in vars(module).values():
                if isinstance(thing, type) and issubclass(thing, ipywidgets.Widget) and thing.__module__ == info.name:
                    yield thing


WIDGETS = [each for each in widgets_of_the_course() if each not in (CourseWidget, MovedWidget)]


@pytest.mark.parametrize("widget", WIDGETS, ids=lambda each: each.__name__)
def test_every_widget_says_how_it_stands_on_a_page_without_a_kernel(widget):
    assert hasattr(widget, "static_html"), f"{widget.__name__} would stop a lesson from being written as a page"
    assert widget.static_html is not CourseWidget.static_html, f"{widget.__name__} has no still of its own"


def test_the_inspector_of_stills_sees_a_widget_without_one():
    class Bare(CourseWidget): ...

    with pytest.raises(AssertionError, match="Bare has no still of its own"):
        test_every_widget_says_how_it_stands_on_a_page_without_a_kernel(Bare)
    with pytest.raises(NotImplementedError, match="Bare has no still of its own"):
        Bare().static_html()


def test_every_script_has_its_class_beside_it_and_every_class_its_script():
    assert {each.removesuffix(".js") for each in SCRIPTS} == {
        path.stem for path in ROOM.glob("*.py") if re.search(r'_esm = script\("', path.read_text(encoding="utf-8"))
    }


@pytest.mark.parametrize("name", SCRIPTS)
def test_a_script_gets_what_it_shares_from_the_module_alone(name):
    text = (ROOM / name).read_text(encoding="utf-8")
    assert "window.gainlib" not in text
    shared = set(re.findall(r"^export (?:async )?(?:const|function) (\w+)", (ROOM / "shared.js").read_text(), re.M))
    named = re.search(r'^import \{ (.*) \} from "./shared.js";$', text, re.M)
    assert named is not None
    assert {each.split(" as ")[0] for each in named.group(1).split(", ")} <= shared
    assert f'from "{SHARED_URL}"' in script(name)


def test_the_styles_name_no_colour_of_their_own():
    for name in ("widgets.css", "predict.css"):
        assert re.findall(r"#[0-9a-fA-F]{3,8}\b", (ROOM / name).read_text(encoding="utf-8")) == []
    assert "--gainlib-peak:#0072B2" in STYLES
    named = set(re.findall(r"var\((--gainlib-[a-z-]+)", STYLES))
    set_ = set(re.findall(r"(--gainlib-[a-z-]+):", STYLES))
    by_script = {"--gainlib-share", "--gainlib-top", "--gainlib-under-headline", "--gainlib-under-strip"}
    assert named <= {*set_, *by_script}


def test_inputs_write_out_where_they_stand():
    pick = PickInput(name="Converter <alignment>", options=["EBU R 68", "SMPTE RP 155"], chosen=1)
    assert pick.static_html() == "<p>Converter &lt;alignment&gt;: SMPTE RP 155</p>"
    assert RangeInput(name="Trim", value=-3.04, digits=1, unit="dB").static_html() == "<p>Trim: -3.0 dB</p>"
    ride = RideTable(name="Ride", points=[[1.0, 0.5], [2.25, -6.0]])
    assert ride.static_html() == "<p>Ride: +0.5 dB at 1 s, −6.0 dB at 2.25 s</p>"
    assert QuestionInput(title="Which", choices=["A", "B"]).static_html() == "<p>Which: … A or B</p>"
    assert QuestionInput(title="Level", unit="dBFS").static_html() == "<p>Level: … dBFS</p>"


def test_what_the_page_set_first_does_not_undo_what_it_set_last():
    """A kernel may hand on two messages of one page in the wrong order."""
    control = RangeInput(value=-12.0, low=-12.0, high=12.0)
    control.set_state({"moved": {"turn": 48, "values": {"value": 0.0}}})
    control.set_state({"moved": {"turn": 47, "values": {"value": -0.5}}})
    assert (control.value, control.seen) == (0.0, 48)
    control.set_state({"moved": {"turn": 49, "values": {"value": 1.0}}})
    assert (control.value, control.seen) == (1.0, 49)


def test_what_two_threads_bring_is_heard_one_after_the_other():
    # JupyterLab hands a widget's first message to the main thread and later ones to a subshell's.
    first, second = RangeInput(low=0.0, high=10.0), RangeInput(low=0.0, high=10.0)

    def says(value):
        moved = {"turn": 1, "values": {"value": value}}
        return {"content": {"data": {"method": "update", "state": {"moved": moved}, "buffer_paths": []}}, "buffers": []}

    heard = []

    def while_the_first_is_heard(_):
        other = threading.Thread(target=second._handle_msg, args=(says(5.0),))
        other.start()
        other.join(0.2)  # long enough for a message that does not wait
        heard.append(second.value)
        waiting.append(other)

    waiting = []
    first.observe(while_the_first_is_heard, "value")
    first._handle_msg(says(3.0))
    waiting[0].join()
    assert (heard, first.value, second.value) == ([0.0], 3.0, 5.0)
