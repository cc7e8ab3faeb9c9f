"""What the views of an exercise are told of it."""

from __future__ import annotations

from gainlib.exercises import exercise_names, load
from gainlib.exercises.pictures import orders_of, view_for


def variant(name):
    return load(name).variant("ada")


def test_the_order_of_an_exercise_is_what_its_checks_ask_of_the_whole():
    [(tap, order)] = orders_of(variant("delivery/meet-target")).items()
    # The brief: "−18 LUFS for the whole, within 0.5 LU, and at most −1 dBTP".
    assert (tap, order.loudness_lufs, order.tolerance_lu, order.true_peak_dbtp) == ("presenter/file", -18.0, 0.5, -1.0)


def test_the_loudness_picture_holds_the_take_against_the_order():
    made = variant("delivery/meet-target")
    said = view_for("loudness", made).sentence(made.session.render())
    assert "the −18.0 LUFS of the order" in said
    assert "EBU" not in said


def test_an_exercise_without_an_order_draws_no_line():
    assert orders_of(variant("recording/leave-room")) == {}


def test_no_exercise_shows_a_line_that_neither_its_delivery_nor_its_checks_order():
    shown = [name for name in exercise_names() if "loudness" in load(name).spec.given.views]
    assert len(shown) >= 5
    for name in shown:
        made = variant(name)
        session = made.candidates[0].session if made.candidates else made.session
        drawn = len(view_for("loudness", made).columns(session.render())["band"]["left"])
        delivered = any(stage.kind == "Delivery" for part in session.channels for stage in part.tapped_stages)
        assert drawn == int(delivered or bool(orders_of(made))), name
