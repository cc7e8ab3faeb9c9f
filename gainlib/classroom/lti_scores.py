"""A learner's grade as a score of LTI's Assignment and Grade Services 2.0, which a platform's line item takes.

*Published*: 1EdTech LTI Assignment and Grade Services 2.0; its fields, their words and its rules were read in the pages
of platforms and libraries that follow it, the standard's own text was not at hand.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from gainlib.classroom.grade_profile import Grade
from gainlib.classroom.marks import LearnerMark

__all__ = ["score_of"]


def score_of(line: LearnerMark, grade: Grade, user_id: str, comment: str, now: datetime) -> dict[str, Any]:
    """The score of one learner, for whom `user_id` is what the platform calls them; a score of 0 is given as well.

    Who handed in nothing has no score yet, unless points were given. Where an answer got no mark, or no file can be
    read, it waits for the teacher and is no grade yet.
    """
    waits = bool(line.unusable and not line.has_points) or any(each.fault for each in line.exercises)
    told: dict[str, Any] = {
        "userId": user_id,
        "timestamp": now.isoformat(timespec="milliseconds"),
        "comment": comment,
        "activityProgress": "Completed" if line.has_points else "Submitted" if line.unusable else "Initialized",
        "gradingProgress": "PendingManual" if waits else "FullyGraded" if line.has_points else "NotReady",
    }
    if line.has_points:
        told["scoreGiven"] = float(grade.model_copy(update={"steps": []}).of_line(line))
        told["scoreMaximum"] = grade.scale
    return told
