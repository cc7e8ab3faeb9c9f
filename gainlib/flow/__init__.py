"""Stages joined into strips, buses and the main, and rendered with a tap behind each.

A `Session` is data: strips (a take and its stages), buses (a sum and its stages), the main, and sends between them.
Every setting has a path, `strip/stage/setting`, and every place where the signal is measured a tap, `strip/stage`.
`Session.render` gives a `Rendering`: the levels at every tap, and the audio behind it. It is a pure function of the
session, and a later rendering takes over what did not change.

- `channels`: strips, buses and sends as data
- `routes`: whether every route leads to the main, and the order in which channels are rendered
- `buffers`: what renderings hold in memory and when they give it back, all of that policy
- `render`: each tap made from what it depends on, or taken over
- `session`: `Session` and `Rendering`, what everybody else uses
- `session_table`: a session as tables of a TOML file, read and written; session files, exercises and what a bench
  copies are one form
"""

from gainlib.flow.channels import MAIN, Bus, FaderGroup, Send, Strip
from gainlib.flow.render import TapLevels
from gainlib.flow.session import Rendering, Session

__all__ = ["MAIN", "Bus", "FaderGroup", "Rendering", "Send", "Session", "Strip", "TapLevels"]
