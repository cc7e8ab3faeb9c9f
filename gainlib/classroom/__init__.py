"""A class: class file and roster, hand-ins, marking at any size, mark sheet, feedback and the report on a class."""

from __future__ import annotations

from gainlib.classroom.class_file import ClassFile, Late, Learner, LearnersFile, new_class, read_class
from gainlib.classroom.enrolment import Enrolment, enrol, enrolled, own_variant
from gainlib.classroom.handing_in import HandedIn, HandIn, hand_in, read_hand_in
from gainlib.classroom.marks import ExerciseMark, LearnerMark, Marks, mark_folder
from gainlib.classroom.roster import read_roster

__all__ = [
    "ClassFile",
    "Enrolment",
    "ExerciseMark",
    "HandIn",
    "HandedIn",
    "Late",
    "Learner",
    "LearnerMark",
    "LearnersFile",
    "Marks",
    "enrol",
    "enrolled",
    "hand_in",
    "mark_folder",
    "new_class",
    "own_variant",
    "read_class",
    "read_hand_in",
    "read_roster",
]
