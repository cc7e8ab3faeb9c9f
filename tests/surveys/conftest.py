"""What the survey's tests share: a folder of planted stems, surveyed once."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from gainlib.surveys.survey import survey

_SPEC = importlib.util.spec_from_file_location("making", Path(__file__).with_name("making.py"))
_MAKING = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_MAKING)


@pytest.fixture(scope="session")
def making():
    """How stems with planted faults are made."""
    return _MAKING


@pytest.fixture(scope="session")
def planted(tmp_path_factory):
    """The folder of the planted session, and its faults by stem."""
    folder = tmp_path_factory.mktemp("session") / "stems"
    return folder, _MAKING.session(folder)


@pytest.fixture(scope="session")
def surveyed(planted):
    """The planted session surveyed, at 120 beats a minute."""
    return survey(planted[0], tempo=120)
