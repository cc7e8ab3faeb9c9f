"""Which exercises were proven on this computer, known by what they are made of: any change asks for a new proof."""

from __future__ import annotations

import contextlib
import hashlib
from pathlib import Path

from gainlib import __version__
from gainlib.authoring.verification import Verification
from gainlib.errors import GainError
from gainlib.exercises import Exercise, load
from gainlib.exercises.contents import task_digest
from gainlib.state import made_private, state_folder
from gainlib.storage import atomic_write

__all__ = ["keep_proof", "proof_known"]

WHOLE_PROOF_VARIANTS = 200
"""A proof for which fewer were asked is kept only where there are no more."""


def keep_proof(proof: Verification, asked: int = WHOLE_PROOF_VARIANTS) -> None:
    """Keep that an exercise was proven, when so many variants were asked for; a quick look, or at a few, is no proof.

    Where it cannot be kept nothing is said: the exercise is then told as not proven.
    """
    if not proof.proven or (asked < WHOLE_PROOF_VARIANTS and proof.variants < proof.all_variants):
        return
    with contextlib.suppress(GainError, OSError):
        file = _file_of(load(proof.file))
        if made_private(file.parent):
            atomic_write(file, f"{proof.name}: {proof.variants} of {proof.all_variants}\n", private=True)


def proof_known(exercise: Exercise) -> bool:
    """Whether this exercise, with these recordings, was proven on this computer by this version of gainlib.

    >>> proof_known(load("recording/leave-room")) in (True, False)
    True
    """
    return _file_of(exercise).is_file()


def _file_of(exercise: Exercise) -> Path:
    made_of = hashlib.sha256(f"{__version__} {task_digest(exercise)}".encode()).hexdigest()[:24]
    return state_folder() / "proofs" / made_of
