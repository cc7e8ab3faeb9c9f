"""An author's answers for one learner's numbers: the rules of the file worked out, rides proposed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gainlib.exercises.model import Question
from gainlib.exercises.questions import label_of
from gainlib.exercises.readings import Renderings, value_of, words_of
from gainlib.exercises.tables import AnswerEntry, Drawn, fill_in
from gainlib.exercises.variant import Variant, plain_part
from gainlib.flow import Session
from gainlib.stages import proposed_ride

__all__ = ["answer_from", "author_answer", "ride_to"]


def author_answer(variant: Variant) -> dict[str, Any]:
    """The author's own answer for these numbers: path or name of an ask -> value.

    >>> from gainlib.exercises import load
    >>> author_answer(load("recording/leave-room").with_values({"level": -24.0}))["voice/trim/gain_db"]
    0.0
    """
    return answer_from(variant, variant.exercise.spec.solution)


def answer_from(variant: Variant, entries: Mapping[str, AnswerEntry]) -> dict[str, Any]:
    """An answer that is written as rules, for these numbers: path or name of an ask -> value.

    Where not every control is named (in a session), the others stay where they start.
    """
    asks = {ask.name: ask for ask in variant.questions}
    paths = {key: setting_key(variant.session, key, variant.values) for key in entries if key not in asks}
    answer = dict(variant.start) if paths and variant.exercise.kind == "session" else {}
    rides = []
    for key, entry in entries.items():
        if key in asks:
            answer[key] = _answered(entry, asks[key], variant)
        elif entry.even_to_db is not None:
            rides.append((paths[key], entry))
        else:
            answer[paths[key]] = plain_part(entry, variant.values)
    for path, entry in rides:  # what goes into a ride depends on the other moves
        answer[path] = _proposed(variant, path, entry, answer)
    return answer


def _answered(entry: AnswerEntry, ask: Question, variant: Variant) -> Any:
    """An author's answer to an ask, as a learner would give it."""
    if ask.form in ("number", "seconds"):
        return value_of(entry, variant.values, variant.session, Renderings())
    return label_of(entry.plain, variant)


def _proposed(
    variant: Variant, path: str, entry: AnswerEntry, others: Mapping[str, Any]
) -> tuple[tuple[float, float], ...]:
    assert entry.even_to_db is not None
    known = {move.path for move in variant.controls}
    session = variant.session.replaced({key: value for key, value in others.items() if key in known})
    return ride_to(session, path, entry.even_to_db.amount(variant.values), entry.strength, entry.most_db)


def ride_to(
    session: Session, path: str, even_to_db: float, strength: float = 1.0, most_db: float = 12.0
) -> tuple[tuple[float, float], ...]:
    """The points of a ride that brings each phrase of what enters it towards one level, by a part of the way.

    >>> from gainlib.exercises import load
    >>> from gainlib.stages import Ride
    >>> session = load("recording/leave-room").variant("ada").session
    >>> longer = Session.of(session.strips[0].take, [Ride()], name="voice")
    >>> len(ride_to(longer, "voice/ride/points", -20.0)) > 2
    True
    """
    part, stage, _ = path.split("/")
    chain = session.channel(part)
    index = chain.stage_names.index(stage)
    take = session.render().at(f"{part}/{chain.stage_names[index - 1]}") if index else session.strip(part).take
    points = proposed_ride(take, even_to_db, most_db=most_db).points
    return tuple((round(seconds, 3), round(strength * gain_db, 2)) for seconds, gain_db in points)


def setting_key(session: Session, key: str, drawn: Drawn) -> str:
    """The full path that a key of an answer means for these drawn words."""
    path = fill_in(key, words_of(drawn))
    session.setting(path)
    return f"{session.strips[0].name}/{path}" if path.count("/") == 1 and len(session.strips) == 1 else path
