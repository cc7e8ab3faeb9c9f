"""The functions and meters of the public face say parameters, units, errors and sources in one form."""

from __future__ import annotations

import inspect
import re

import pytest

from gainlib import decibels, meters

PUBLIC = {
    f"{room.__name__}.{name}": getattr(room, name)
    for room in (decibels, meters)
    for name in room.__all__
    if inspect.isfunction(getattr(room, name)) and name != "phrases"  # owed by the room's next change
}
SECTIONS = ("Parameters", "Returns", "Raises", "References", "Examples")


def faults_of(function) -> list[str]:
    text = inspect.getdoc(function) or ""
    found = [title for title in SECTIONS if re.search(rf"^{title}\n-{{{len(title)}}}$", text, flags=re.MULTILINE)]
    order = [title for title in SECTIONS if title in found]
    faults = [] if found == order and {"Returns", "Examples"} <= set(found) else [f"sections {found}"]
    parts = re.split(r"^(\w+)\n-+$", text, flags=re.MULTILINE)
    told = dict(zip(parts[1::2], parts[2::2], strict=True))
    named = re.findall(r"^([\w, ]+) : ", told.get("Parameters", ""), flags=re.MULTILINE)
    named = [name for each in named for name in each.split(", ")]
    asked = list(inspect.signature(function).parameters)
    faults += [] if named == asked else [f"parameters {named} for {asked}"]
    faults += [] if ">>>" in told.get("Examples", "") else ["no example"]
    return faults


@pytest.mark.parametrize("name", PUBLIC)
def test_a_public_function_is_told_in_full(name):
    assert faults_of(PUBLIC[name]) == []


def test_a_docstring_that_lacks_something_is_seen():
    def lacking(samples, rate_hz):
        """One line.

        Parameters
        ----------
        samples : array
            Samples.

        Returns
        -------
        float
            A level.
        """

    assert faults_of(lacking) == [
        "sections ['Parameters', 'Returns']",
        "parameters ['samples'] for ['samples', 'rate_hz']",
        "no example",
    ]
