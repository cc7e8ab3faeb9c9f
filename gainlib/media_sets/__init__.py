"""A media set: a folder of takes with a table that says what each is, and which lessons can be taught on it.

- `takes_table`: `read_media_set`, the table `takes.toml` of such a folder, all its faults at once; the course's own
  takes have such a table too (`bundled_set`).
- `needs`: which roles and parts a lesson asks for, and what must be so of them for its text to be true.
- `lesson_takes`: whether a lesson can be taught on a set, at which gains, and the takes that it is then given.
"""

from gainlib.media_sets.lesson_takes import LessonTakes, taught_on
from gainlib.media_sets.needs import LessonNeeds, lesson_needs
from gainlib.media_sets.takes_table import TABLE, MediaSet, bundled_set, first_table, read_media_set

__all__ = [
    "TABLE",
    "LessonNeeds",
    "LessonTakes",
    "MediaSet",
    "bundled_set",
    "first_table",
    "lesson_needs",
    "read_media_set",
    "taught_on",
]
