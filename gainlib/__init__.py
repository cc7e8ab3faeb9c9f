"""gainlib: carry a signal from the microphone to the delivered file at a sensible level, and learn to.

The public names stand in `__init__.pyi` and nowhere else; each is opened when it is first asked for, so that
`import gainlib` is quick.

>>> import gainlib as gl
>>> "peak_dbfs" in gl.measures()
True
"""

from __future__ import annotations

import lazy_loader

__version__ = "0.1.0"

_open, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
__all__ += ["__version__"]


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"gainlib has no {name!r}; it has {', '.join(sorted(__all__))}.")
    return _open(name)
