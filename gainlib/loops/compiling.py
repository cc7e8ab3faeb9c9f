"""How the loops are compiled: by numba on first use, and kept for the next process where there is a place for that."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from numba import njit

__all__ = ["compiled"]

Loop = TypeVar("Loop", bound=Callable[..., Any])


def compiled(**options: Any) -> Callable[[Loop], Loop]:
    """Compile a loop that lets other threads run; `options` are numba's own, such as `fastmath`.

    >>> @compiled()
    ... def doubled(value):
    ...     return 2 * value
    >>> doubled(4)
    8
    """

    def made(loop: Loop) -> Loop:
        try:
            return njit(cache=True, nogil=True, **options)(loop)  # type: ignore[no-any-return]
        except RuntimeError:  # neither beside the source nor in the user's folder can a file be written
            return njit(nogil=True, **options)(loop)  # type: ignore[no-any-return]

    return made
