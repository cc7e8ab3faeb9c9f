"""Widgets, each a Python half and a script; none of them knows a bench.

The Python half holds the state and what it means, `NAME.js` beside it draws that and tells what a hand did; `shared.js`
is the one module that all scripts import. Each can write itself out for a page without a kernel (`static_html`).
Inputs are the browser's own: range, text, select, checkbox. What a widget must limit it says in words. `shared.js` has
the one reader of typed numbers (comma and point both count), the one field that is not overwritten while it is in use
(`numberField`), and the turns by which page and kernel know whose word is the later (`turns`, `base.MovedWidget`).

- `base`: what every widget can do
- `assets`: scripts and styles as the page gets them (`widgets.css`, `predict.css`)
- `cell_display`: which panel a cell shows, so that running it again frees the last one
- `as_left`: what was moved or answered on a page, kept until it is opened again
- `resting`: when a kernel pauses, for what is to be let go then
- `range_input`, `pick_input`, `ride_table`, `toolbar`: what moves a bench
- `headline`, `picture`: what a bench shows
- `listening`, `player`: what reaches the ears, and which samples go to the page
- `predict`, `compare`: a question before anything is shown, and its answer beside it
- `course_questions`: the questions of the lessons, with the answers that stand in no cell
- `brief`, `question`, `answer_panel`: an exercise
- `exercise_list`: the front of the exercise book
- `form`: fields and buttons, as the page has them on which an exercise is written
- `hand_in_button`: `gl.hand_in`
- `name_field`: `gl.learner`
- `recorder`: `gl.record`, a take from the learner's own microphone
- `chain_test`: `gl.measure_chain`, a signal through the learner's own chain and back
"""
