"""Benches: controls, views and a player bound to one signal flow, and the panels made of them.

A bench is a model first: everything that it knows and says works in a plain Python, and tests need no browser. A panel
puts widgets to it: what moves in the page moves the model, what the model tells is sent to the page. A setting is moved
by its path, `strip/stage/setting`. A panel that is replaced in its cell gives its widgets back.

the model
- `controls`: what can be moved: a number in its range, a choice or switch, the breakpoints of a ride
- `history`: undo and redo, kept settings
- `events`: who hears of a move
- `bench_model`: session, controls and views, and what they say
- `part_of_takes`: the part of long takes that a bench works on
- `coming_back`: a bench as it was left before its kernel was restarted

the panels
- `panel`: what all of them do in a cell
- `inputs`: the widget of a control or a question
- `bench_panel`: `gl.bench`; `level_tracks`: the levels of each moment, by which its marks move
- `candidates`: several versions to judge by ear and eye
- `ladder_run`, `listening_trials`: a run of a listening ladder, and where it is answered
- `exercise_panel`: `gl.exercise`
- `book_panel`: `gl.exercise_book`
- `ear_panel`: `gl.ear`
- `exercise_writer`: an exercise in the making; `writing_panel`, `writing_tables`, `rows_form`, `proof_told`: its page
- `written_exercise`: `gl.write_exercise`
- `survey_panel`, `survey_on_bench`: `gl.survey`, whose trims are moved on a bench
- `kernel_start`: what a lesson's kernel does before its first cell
"""

from __future__ import annotations

import lazy_loader

# Opened when it is first asked for: a survey in a script opens no widgets.
__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
