"""Widgets, each a Python half and a script; none of them knows a bench."""
