"""The teacher's side of a class: class file and roster, intake, marking at any size, mark sheet, feedback, report."""

from __future__ import annotations

from gainlib.classroom.class_file import ClassFile, Late, RosterLine, new_class, read_class
from gainlib.classroom.roster import read_roster

__all__ = [
    "ClassFile",
    "Late",
    "RosterLine",
    "new_class",
    "read_class",
    "read_roster",
]
