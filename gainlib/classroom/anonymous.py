"""A marked folder without names: each learner under a code, in the order of the codes, and nothing that tells whose."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from gainlib.classroom.class_file import RosterLine
from gainlib.classroom.marks import ForeignNumbers, LearnerMark, Marks
from gainlib.classroom.store import HandedFile

__all__ = ["AnonymousMarks"]

_LOOK = "Something stands out; a marking with names says what."
_HIDDEN = "a marking with names says which file it is, and why."


class AnonymousMarks(Marks):
    """The same marks, told without names.

    What quotes a file's name, or a name that a hand-in carries, is left out, since it may tell whose it is.
    """

    @classmethod
    def of(cls, marks: Marks) -> AnonymousMarks:
        """The marks of a folder without names."""
        made = cls.__new__(cls)
        made.__dict__ = {**marks.__dict__}
        return made

    def shown_id(self, learner_id: str) -> str:
        """The code by which a learner is told."""
        return self.class_file.codes[learner_id]

    @property
    def shown_roster(self) -> Mapping[str, RosterLine]:
        """Nothing of the class list."""
        return {}

    def shown_names(self) -> dict[str, str]:
        """The code of each learner in the place of a name."""
        return {code: code for code in self.class_file.codes.values()}

    def learners(self) -> list[tuple[str, str]]:
        """Id and name, in the order of the codes."""
        return sorted(super().learners(), key=lambda each: self.shown_id(each[0]))

    def line(self, learner_id: str, name: str) -> LearnerMark:
        """The mark line of one learner, under their code."""
        return self._hidden(super().line(learner_id, name))

    def _hidden(self, line: LearnerMark) -> LearnerMark:
        code = self.shown_id(line.learner_id)
        return replace(
            line,
            learner_id=code,
            name=code,
            file=replace(line.file, place="", name="") if line.file else None,
            remarks=(_LOOK,) if line.remarks else (),
            strange=(_HIDDEN,) * len(line.strange),
            unusable=tuple(HandedFile("a file", "", fault="it cannot be used.") for _ in line.unusable),
            foreign=tuple(
                ForeignNumbers("", tuple(map(self.shown_id, each.owners)), each.exercises) for each in line.foreign
            ),
            fault="the line could not be made." if line.fault else "",
        )

    def shown_without(self, rows: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
        """As many rows, without what tells whose they are."""
        return [(f"{number}", _HIDDEN) for number, _ in enumerate(rows, start=1)]
