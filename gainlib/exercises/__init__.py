"""Exercises as data: an exercise file is read, drawn for one learner, and an answer to it is measured.

Nothing in a file is ever executed. Everything here is a pure function of the file, of the learner's id and of the class
key; a learner's answer may be any object at all, and none makes the checking raise. Faults of a file are GainErrors in
one sentence with file and entry.

tables           what an exercise file may hold: one class for each table, with the file's own names
parameters       what is drawn for each learner, and how: HMAC-SHA-256 over learner, exercise and entry
given            the session that a file gives
readings         one thing read from a rendering, with its bounds; what was read once is kept
each_strip       a check that is meant for each strip, made into one for each
formulas         the calculations that a file may name
model, variant   controls, questions, candidates, hints; the exercise, and its variant with one learner's numbers
questions        what is right for each question, measured on the session as given
solution         the author's answers, worked out for one learner's numbers
staircase        a run of a listening ladder: which rung comes next, when it ends, its result and how sure that is
ladder           its trials as sound, its rungs measured, its result in words
answers          what a learner gave, read
recorded         a take of the learner's own as an answer: the figures that were read of it
verdict          an answer checked: points, a sentence for each check, the slip that it shows, the hint that is next
pictures         the views of an exercise, told what it names
consistency      whether the entries of a file make sense together, in every corner of what is drawn
contents         one digest of an exercise and its recordings
collection       exercises by name, or from a file of one's own
"""

from __future__ import annotations

from gainlib.exercises.collection import exercise_names, load
from gainlib.exercises.model import Candidate, ControlSpec, Hint, Question
from gainlib.exercises.questions import expected_answers
from gainlib.exercises.recorded import figures_of
from gainlib.exercises.solution import answer_from, author_answer
from gainlib.exercises.variant import Exercise, Variant
from gainlib.exercises.verdict import CheckLine, Verdict, check

__all__ = [
    "Candidate",
    "CheckLine",
    "ControlSpec",
    "Exercise",
    "Hint",
    "Question",
    "Variant",
    "Verdict",
    "answer_from",
    "author_answer",
    "check",
    "exercise_names",
    "expected_answers",
    "figures_of",
    "load",
]
