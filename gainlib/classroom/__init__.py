"""The teacher's side of a class: class file and roster, intake, marking at any size, mark sheet, feedback, report.

A hand-in is believed nothing: what it answers is rendered and measured again. A bad file is listed with a sentence and
never ends the marking; a killed marking goes on where it was, and gives the same marks on any number of workers.

class_file, roster  the class with its key, exercises, due date and learners; a class list as schools export it
decisions, due_dates  what the teacher decides on marks; dates as they are typed
start_files         what learners get: a class with its own exercises packed, for each and for all
intake              every file of a folder of hand-ins, archives included
marking             one answer marked: a pure function, the same on every machine
store               the marks by the digest of all that they depend on
marks               a folder marked: each learner's line, and why something got no mark
anonymous           the marks without names
changes             what a marking changed, and why
grade_profile, grades, one_roster, lti_scores  grades and pages as another program wants them
mark_sheet          the marks as rows of a table
item_analysis       what the marks say about each exercise and check
similarity          answers that look taken over
whose               whose a file is that cannot be read, and whose numbers an answer bears
guard               what goes wrong with one thing is noted, and the next is done
feedback, report    what the pages for learners and teacher say
answer_shown        an answer as a page shows it
handout, term_plan  exercises on paper with the teacher's key; a plan of the term
run                 all of it in order
"""

from __future__ import annotations

import lazy_loader

# Opened when they are asked for, so that a worker process opens no more than it works with.
__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
