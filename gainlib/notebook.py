"""What a cell calls for a bench, an exercise, a question, a take, a survey; each comes from the room that makes it.

`gl` opens this file when one of them is first asked for, so a script that measures and renders opens no widgets.
`gl.write_exercise` is the author's, and a learner's page does not open its room.
"""

from __future__ import annotations

from gainlib.benches.bench_panel import bench
from gainlib.benches.book_panel import exercise_book
from gainlib.benches.ear_panel import ear
from gainlib.benches.exercise_panel import exercise
from gainlib.benches.survey_on_bench import survey
from gainlib.widgets.chain_test import measure_chain
from gainlib.widgets.compare import compare
from gainlib.widgets.hand_in_button import hand_in
from gainlib.widgets.join_class import join_class
from gainlib.widgets.name_field import learner
from gainlib.widgets.predict import predict
from gainlib.widgets.recorder import record

__all__ = [
    "bench",
    "compare",
    "ear",
    "exercise",
    "exercise_book",
    "hand_in",
    "join_class",
    "learner",
    "measure_chain",
    "predict",
    "record",
    "survey",
]
