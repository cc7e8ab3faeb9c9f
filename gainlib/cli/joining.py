"""Entering a class at the command line: who it is, asked where the start file is one for all, and what is said then."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from gainlib.cli.saying import say
from gainlib.learners.enrolment import Enrolment, brought_up_to_date, enrol, learner_of
from gainlib.learners.learners_file import LearnersFile
from gainlib.learners.start_file import read_start_file
from gainlib.text import printable

__all__ = ["join"]

LONGEST_LIST = 60


def join(folder: Path, start_file: Path | None, learner: str) -> Enrolment | None:
    """Enter a class in this folder, or take over what is new in the one that it is in; says what came of it.

    None where it is in no class. Raises GainError for what is no start file, and who is not in it.
    """
    if start_file is None:
        if not folder.is_dir():
            return None
        return _told(brought_up_to_date(folder))
    found = read_start_file(start_file)
    here = enrol(folder, start_file, learner_of(found, learner, _who if sys.stdin.isatty() else None))
    say(f"You are {here.name or here.learner_id} in {here.of.title}.")
    return _told(here)


def _told(here: Enrolment | None) -> Enrolment | None:
    if here and here.news:
        say(*here.news)
    return here


def _who(of: LearnersFile) -> str:
    """The id of who is asked: a number of the list, an id, or a name."""
    if not of.learners:
        return str(typer.prompt(f"Your id in {of.title}"))
    say(f"Who are you in {of.title}?")
    if len(of.learners) <= LONGEST_LIST:
        say(
            *(
                f"  {index:2}  {printable(each.name)} ({printable(each.id)})"
                for index, each in enumerate(of.learners, 1)
            )
        )
    while True:
        given = str(typer.prompt("Your name, id or number")).strip()
        if found := matching(of, given):
            return found
        say(f"{printable(given)!r} is nobody, or more than one, of the list.")


def matching(of: LearnersFile, given: str) -> str:
    """The id that is meant by an id, a name, the only name that begins so, or a number of the list; else empty.

    >>> entries = {"schema": "gainlib class for learners", "version": 2, "title": "A", "key": "k" * 16}
    >>> people = [{"id": "a-01", "name": "Ada Quill"}, {"id": "a-02", "name": "Bo Marsh"}]
    >>> of = LearnersFile.model_validate({**entries, "exercises": [{"name": "levels/unity"}], "learners": people})
    >>> [matching(of, each) for each in ("a-02", "ada quill", "bo", "2", "cy")]
    ['a-02', 'a-01', 'a-02', 'a-02', '']
    """
    if any(each.id == given for each in of.learners):
        return given
    word = given.casefold()
    same = [each.id for each in of.learners if each.name.casefold() == word]
    for found in (same, [each.id for each in of.learners if word and each.name.casefold().startswith(word)]):
        if len(found) == 1:
            return found[0]
    if given.isdecimal() and 1 <= int(given) <= len(of.learners) <= LONGEST_LIST:
        return of.learners[int(given) - 1].id
    return ""
