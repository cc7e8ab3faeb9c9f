"""An exercise on the page on which it is written, or on one that only reads it."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets

from gainlib.authoring.draft import UnreadableDraft
from gainlib.authoring.known_proofs import keep_proof
from gainlib.authoring.new_exercise import require_name
from gainlib.authoring.verification import verify
from gainlib.benches.exercise_writer import ExerciseWriter
from gainlib.benches.panel import Panel, ShownByPanel
from gainlib.benches.proof_told import file_html, headline, proof_html, proven
from gainlib.benches.writing_panel import WritingPanel
from gainlib.errors import GainError
from gainlib.storage import given_path
from gainlib.widgets.base import Text
from gainlib.widgets.form import Form

__all__ = ["WrittenExercise", "write_exercise"]


class ReadingPanel(Panel):
    """A file that the page cannot hold: what of it, the file as it is, and its proof. Nothing is written."""

    def __init__(self, file: Path, fault: UnreadableDraft, opens: Callable[[], None]) -> None:
        super().__init__([])
        self.file, self.opens = file, opens
        reasons = "".join(f"<li>{escape(each)}</li>" for each in fault.reasons)
        self.told = Text(
            value=f'<h3 class="gainlib-form-heading">{escape(file.name)} is only read here</h3>'
            f"<p>The page cannot hold all of it, and would lose it:</p><ul>{reasons}</ul>"
            "<p>Change it as text. Nothing of it is written from here.</p>"
        )
        fields: list[dict[str, Any]] = [{"name": "prove", "label": "Prove it", "form": "button", "main": True}]
        if fault.notes:
            fields.append({"name": "open", "label": "Go on here without the notes", "form": "button"})
        self.proof = Form(fields=fields, pressed=self._pressed)
        self.result = Text(value=file_html(file, opened=True))
        self.box = ipywidgets.VBox([self.told, self.proof, self.result]).add_class("gainlib-writing")

    def _pressed(self, name: str) -> None:
        if name == "open":
            self.opens()
            return
        try:
            proof = proven(self.proof, lambda told: verify(self.file, progress=told))
            keep_proof(proof)
            self.proof.said = headline(proof)
            self.result.value = proof_html(proof, self.file)
        except GainError as fault:
            self.proof.said = str(fault)


class WrittenExercise(ShownByPanel[WritingPanel | ReadingPanel]):
    """An exercise on the page on which it is written; `writer` does the same without a browser.

    `writer` is None for a file that the page can only read, and `fault` says why. Made by `gainlib.write_exercise`.
    """

    def __init__(self, file: Path, kind: str) -> None:
        self.file = file
        self.writer: ExerciseWriter | None = None
        self.fault: UnreadableDraft | None = None
        try:
            self.writer = ExerciseWriter(file, kind)
        except UnreadableDraft as fault:
            self.fault = fault

    def open_without_notes(self) -> None:
        """Go on with a file that holds notes behind #; they are lost with the first change."""
        self.writer, self.fault = ExerciseWriter(self.file, without_notes=True), None
        before = vars(self).pop("_panel", None)
        if before is not None:
            before.box.children = [self.panel.box]

    def _make_panel(self) -> WritingPanel | ReadingPanel:
        if self.writer is None:
            assert self.fault is not None
            return ReadingPanel(self.file, self.fault, self.open_without_notes)
        return WritingPanel(self.writer)

    def __repr__(self) -> str:
        return f"<exercise being written: {self.file}>"


def write_exercise(name: str | Path, kind: str = "set") -> WrittenExercise:
    """A page on which an exercise is written and proven; as the last line of a cell it shows itself.

    Of kind `set` it opens with a recording and its stages: stand the bench where learners begin and where it is right,
    say what is measured; which settings follow what is drawn for each learner is found by trying. Of any other kind it
    opens with an exercise that is sound already, to be changed piece by piece. The exercise file is the truth: one that
    is there already is read, and one that the page cannot hold whole is shown and never written.

    Parameters
    ----------
    name : str or Path
        The exercise file, such as "levels/hot-bass.toml"; small letters, digits and hyphens, in a folder or not.
    kind : str, optional
        What learners do, for a file that is not there yet: set, ride, session, reckon, find, judge, hear or record.

    Returns
    -------
    WrittenExercise
        `writer` holds what was said so far.

    Raises
    ------
    GainError
        For a name that cannot be one, a kind that is not known, and a recording or stages that cannot be used.

    Examples
    --------
    >>> import tempfile
    >>> page = write_exercise(tempfile.mkdtemp() + "/hot-bass.toml")
    >>> page.writer.draft.get("title")
    'Hot bass'
    """
    file = given_path(name)
    file = file if file.suffix == ".toml" else file.with_name(f"{file.name}.toml")
    require_name(file.stem)
    return WrittenExercise(file, kind)
