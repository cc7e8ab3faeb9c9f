"""A run of a listening ladder as it is sat: which of the three is odd in each trial, what was picked, how far it is."""

from __future__ import annotations

import random
from collections.abc import Callable

from gainlib.audio import Audio
from gainlib.benches.events import Event
from gainlib.errors import GainError
from gainlib.exercises.ladder import INTERVALS, TRIALS, Ladder, Threshold, staircase_of
from gainlib.exercises.staircase import REVERSALS, Staircase
from gainlib.text import counted, describe_value

__all__ = ["LadderRun"]


class LadderRun:
    """The trials of one learner, one after the other; a function given to `on_trial` is called after each answer.

    `trials` are those of this run, as pairs of the odd interval and the one that was picked, `odd` the one of the trial
    to be answered; `count` numbers all trials that were put. `chance` gives the next odd one, 1 to 3; by default nobody
    can foretell it.

    >>> from gainlib.exercises import load
    >>> from gainlib.exercises.ladder import ladder_of
    >>> run = LadderRun(ladder_of(load("hearing/step-in-level").variant("ada")), chance=lambda: 2)
    >>> run.pick(2), run.pick(1)
    (True, False)
    >>> run.said
    'It was 2: a step of 6 dB.'
    """

    def __init__(self, ladder: Ladder, chance: Callable[[], int] | None = None) -> None:
        self.ladder = ladder
        self._chance = chance or (lambda: random.SystemRandom().randint(1, INTERVALS))
        self.on_trial = Event()
        self.trials: list[list[int]] = []
        self.count = 1
        self.staircase = Staircase(ladder.count)
        self.odd = self._chance()

    def begin(self, trials: object = ()) -> LadderRun:
        """Begin another run, or go on with these trials. Raises GainError for what cannot be trials."""
        self.staircase = staircase_of(self.ladder.variant, trials)
        kept = list(trials) if isinstance(trials, list | tuple) else []
        self.trials = [[int(odd), int(picked)] for odd, picked in kept[: len(self.staircase.answers)]]
        self._next()
        return self

    def pick(self, interval: int) -> bool:
        """Say which of the three is odd; whether it was. Raises GainError for no such interval, or after the end."""
        if isinstance(interval, bool) or interval not in range(1, INTERVALS + 1):
            raise GainError(f"the interval is {describe_value(interval)}; give 1, 2 or 3.")
        right = interval == self.odd
        self.staircase = self.staircase.answered(right)
        self.trials.append([self.odd, interval])
        self._next()
        return right

    def _next(self) -> None:
        self.odd = self._chance()
        self.count += 1
        self.on_trial.tell()

    @property
    def ended(self) -> bool:
        """Whether there is a result."""
        return self.staircase.ended

    @property
    def audio(self) -> Audio:
        """The sound of the trial that is to be answered."""
        return self.ladder.trial(self.staircase.rung, self.odd)

    @property
    def intervals(self) -> tuple[tuple[float, float], ...]:
        """When each of the three begins and ends in it, in seconds."""
        return self.ladder.intervals(self.staircase.rung)

    @property
    def threshold(self) -> Threshold | None:
        """The result; None before the end."""
        return self.ladder.threshold(self.staircase)

    @property
    def said(self) -> str:
        """What the last answer was worth, and what was to be heard; empty before the first."""
        if not self.trials:
            return ""
        odd, picked = self.trials[-1]
        what = self.ladder.named(self.ladder.sizes[self.staircase.visited[-1]])
        return f"Right: {what}." if odd == picked else f"It was {odd}: {what}."

    @property
    def progress(self) -> str:
        """How far it is, in words."""
        turns = len(self.staircase.reversals)
        return f"Trial {len(self.trials) + 1}. After {counted(REVERSALS, 'turn')} it ends; {turns} so far."

    @property
    def answer(self) -> dict[str, object]:
        """What a record keeps: the trials, and what they came to."""
        if not self.trials:
            return {}
        found = self.threshold
        result = {} if found is None else {"threshold": found.size, "from": found.low, "to": found.high}
        return {TRIALS: [list(each) for each in self.trials], **result}
