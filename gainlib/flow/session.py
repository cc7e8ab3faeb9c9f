"""A session as data: strips of stages, and the settings that can be read and replaced by their path."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainlib.audio import Audio
from gainlib.errors import GainError, nearest
from gainlib.stages import Converter, Stage

if TYPE_CHECKING:
    from gainlib.flow.rendering import Rendering

__all__ = ["Session", "Strip"]


@dataclass(frozen=True)
class Strip:
    """One recording and the stages that it passes, in order.

    Raises GainError when there is no stage, when two stages have one name, or when an order cannot be (a preamp behind
    the converter, or a source with no converter after it).

    >>> import numpy as np
    >>> from gainlib.stages import Trim
    >>> Strip("voice", Audio(np.zeros(480), 48000), (Trim(),)).stage("trim").kind
    'Trim'
    """

    name: str
    take: Audio
    stages: tuple[Stage, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "stages", tuple(self.stages))
        if not self.stages:
            raise GainError(f"strip {self.name!r} has no stages; give at least one, such as Trim().")
        twice = [name for name, count in Counter(each.name for each in self.stages).items() if count > 1]
        if twice:
            raise GainError(f"strip {self.name!r} has two stages named {twice[0]!r}; give one of them another name.")
        domain = "digital"
        for each in self.stages:
            if each.takes != domain:
                where = "the converter's digital" if domain == "digital" else "the analogue"
                raise GainError(
                    f"strip {self.name!r} puts the {each.kind.lower()} on {where} side; it takes {each.takes} signal."
                )
            domain = each.gives
        if domain != "digital":
            raise GainError(f"strip {self.name!r} ends before a converter; put a Converter after its analogue stages.")

    def stage(self, name: str) -> Stage:
        """The stage of that name; GainError with the nearest name where there is none."""
        for each in self.stages:
            if each.name == name:
                return each
        raise GainError(f"strip {self.name!r} has no stage {name!r}; {nearest(name, self.stage_names)}")

    @property
    def stage_names(self) -> tuple[str, ...]:
        """The stages' names in order."""
        return tuple(each.name for each in self.stages)

    def full_scale_after(self, index: int) -> float:
        """The amplitude behind stage `index` that is 0 dBFS: 1.0, or the volts that fill the next converter."""
        if self.stages[index].gives == "digital":
            return 1.0
        following = next(each for each in self.stages[index + 1 :] if isinstance(each, Converter))
        return following.full_scale_volts


@dataclass(frozen=True)
class Session:
    """Strips, rendered together; every setting has a path such as `voice/preamp/gain_db`.

    With one strip the strip's name may be left out of a path. Raises GainError when there is no strip or two have one
    name.

    >>> import numpy as np
    >>> from gainlib.stages import Trim
    >>> session = Session.of(Audio(np.ones(480), 48000), [Trim()])
    >>> session.replaced({"trim/gain_db": -6.0}).setting("trim/gain_db")
    -6.0
    """

    strips: tuple[Strip, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "strips", tuple(self.strips))
        if not self.strips:
            raise GainError("the session has no strips; give at least one.")
        twice = [name for name, count in Counter(each.name for each in self.strips).items() if count > 1]
        if twice:
            raise GainError(f"the session has two strips named {twice[0]!r}; give one of them another name.")

    @classmethod
    def of(cls, take: Audio, stages: Iterable[Stage], *, name: str = "") -> Session:
        """A session of one strip: one recording through these stages."""
        return cls((Strip(name or take.name or "take", take, tuple(stages)),))

    def strip(self, name: str) -> Strip:
        """The strip of that name; GainError with the nearest name where there is none."""
        for each in self.strips:
            if each.name == name:
                return each
        raise GainError(f"the session has no strip {name!r}; {nearest(name, [each.name for each in self.strips])}")

    def tap(self, path: str) -> tuple[str, str]:
        """Strip and stage of a tap such as `voice/preamp`, or `preamp` where there is one strip."""
        parts = path.split("/")
        if len(parts) == 1 and len(self.strips) == 1:
            parts = [self.strips[0].name, *parts]
        if len(parts) != 2:
            raise GainError(f"{path!r} is not a tap; write strip/stage, for example {self._example()}.")
        strip, stage = parts
        self.strip(strip).stage(stage)
        return strip, stage

    def setting(self, path: str) -> Any:
        """The value of a setting, by its path."""
        strip, stage, name = self._found(path)
        return getattr(self.strip(strip).stage(stage), name)

    def replaced(self, values: Mapping[str, Any]) -> Session:
        """The same session with some settings changed, given by their paths; nothing else is touched."""
        strips = {each.name: each for each in self.strips}
        for path, value in values.items():
            strip, stage, name = self._found(path)
            stages = tuple(
                dataclasses.replace(each, **{name: value}) if each.name == stage else each
                for each in strips[strip].stages
            )
            strips[strip] = dataclasses.replace(strips[strip], stages=stages)
        return Session(tuple(strips.values()))

    def with_take(self, take: Audio, *, strip: str | None = None) -> Session:
        """The same session with another recording on a strip (the only one, unless named)."""
        name = self.strips[0].name if strip is None and len(self.strips) == 1 else strip or ""
        self.strip(name)
        return Session(
            tuple(dataclasses.replace(each, take=take) if each.name == name else each for each in self.strips)
        )

    def render(self, after: Rendering | None = None) -> Rendering:
        """Every stage's output; stages that did not change since the rendering `after` are taken over from it."""
        from gainlib.flow.rendering import rendered

        return rendered(self, after)

    def _found(self, path: str) -> tuple[str, str, str]:
        tap, _, name = path.rpartition("/")
        strip, stage = self.tap(tap) if tap else self.tap(path)
        fields = [field.name for field in dataclasses.fields(self.strip(strip).stage(stage)) if field.name != "name"]
        if name not in fields:
            raise GainError(f"{strip}/{stage} has no setting {name!r}; {nearest(name, fields)}")
        return strip, stage, name

    def _example(self) -> str:
        first = self.strips[0]
        return f"{first.name}/{first.stage_names[0]}"
