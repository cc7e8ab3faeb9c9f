"""Sources: what nobody here has read is not called published; a recommendation on hearing is called one."""

from __future__ import annotations

import json
import re

import pytest

from gainlib.storage import lesson_files

# Known only from what others write about them. The text of EBU R 128 is known as EBU Tech 3343 tells it.
NOT_READ = re.compile(
    r"AES17|IEC \d+|IEEE 754|SMPTE RP|ATSC A/85|H\.870|Giannoulis|Wannamaker|R 128(?! as EBU Tech 3343)"
)
LESSONS = list(lesson_files().values())


def sources_of(path):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return "\n\n".join("".join(cell["source"]) for cell in cells).partition("## Sources")[2]


def claims(sources):
    """Each statement with its standing: a sentence, or a part of one up to a semicolon."""
    return [each for line in sources.splitlines() for each in re.split(r"(?<=[.;]) (?=[A-Z0−+*a-z])", line)]


def overclaimed(sources):
    return [each for each in claims(sources) if "*published*" in each and NOT_READ.search(each)]


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_what_was_not_read_is_not_called_published(path):
    assert overclaimed(sources_of(path)) == []


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_the_advice_on_hearing_is_called_a_recommendation(path):
    said = [each for each in sources_of(path).splitlines() if "NIOSH 98-126" in each]
    assert said
    assert all("a recommendation" in each for each in said)


def test_a_standard_that_was_not_read_is_seen():
    assert overclaimed("- Zero of RMS: *published*, AES17. True peak: *published*, ITU-R BS.1770-5.") == [
        "- Zero of RMS: *published*, AES17."
    ]
    assert not overclaimed("- Zero of RMS: AES17, *as others quote it*. Loudness: *published*, ITU-R BS.1770-5.")
