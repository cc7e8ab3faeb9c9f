"""Benches: controls, views and a player bound to one signal flow, and the panels made of them."""

from __future__ import annotations

import lazy_loader

# Opened when it is first asked for: a survey in a script opens no widgets.
__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
