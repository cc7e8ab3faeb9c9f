"""Every stage says its settings, what it refuses, its sources with their standing, and one example, in one form."""

from __future__ import annotations

import inspect
import re

import pytest

from gainlib.stages import Stage, stage_kinds
from gainlib.views import CloseUp, Waveform

CLASSES = {**stage_kinds(), "CloseUp": CloseUp, "Waveform": Waveform}
SECTIONS = ["Parameters", "Raises", "References", "Examples"]


def faults_of(kind: type) -> list[str]:
    parts = re.split(r"^(\w+)\n-+$", inspect.getdoc(kind) or "", flags=re.MULTILINE)
    told = dict(zip(parts[1::2], parts[2::2], strict=True))
    named = re.findall(r"^([\w, ]+) : ", told.get("Parameters", ""), flags=re.MULTILINE)
    named = [name for each in named for name in each.split(", ")]
    asked = list(inspect.signature(kind).parameters)
    faults = [] if list(told) == SECTIONS else [f"sections {list(told)}"]
    faults += [] if named == asked else [f"parameters {named} for {asked}"]
    standing = re.search(
        r"(?i)\*(published|derived|common practice|from memory)\*|course's own", told.get("References", "")
    )
    return (
        faults + ([] if standing else ["no standing"]) + ([] if ">>>" in told.get("Examples", "") else ["no example"])
    )


@pytest.mark.parametrize("name", CLASSES)
def test_a_stage_is_told_in_full(name: str) -> None:
    assert faults_of(CLASSES[name]) == []


def test_a_docstring_that_lacks_something_is_seen(kinds: None) -> None:
    class Bare(Stage):
        """One line.

        Parameters
        ----------
        gain_db : float
            None such.
        """

    assert faults_of(Bare) == [
        "sections ['Parameters']",
        "parameters ['gain_db'] for ['name']",
        "no standing",
        "no example",
    ]
