"""What a bench tells whoever listens: that something was moved, chosen or kept."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Event"]


class Event:
    """Calls its listeners when something has happened.

    >>> moved = Event()
    >>> stop = moved(print)
    >>> moved.tell("trim")
    trim
    >>> stop()
    >>> moved.tell("fader")
    """

    def __init__(self) -> None:
        self.listeners: list[Callable[..., object]] = []

    def __call__(self, listener: Callable[..., object]) -> Callable[[], None]:
        """Have a function called from now on; gives back what stops it."""
        self.listeners.append(listener)
        return lambda: self.listeners.remove(listener)

    def tell(self, *given: object) -> None:
        """It has happened."""
        for listener in tuple(self.listeners):
            listener(*given)
