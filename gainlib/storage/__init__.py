"""What is kept on disk: files written whole or not at all, tables for spreadsheets, TOML, the course's own folders.

Whatever the course writes for keeps is written by way of this room. A file has the access that the umask leaves, or is
its owner's alone where it is `private`. Text in a table is never computed by the program that opens it.

- `atomic`: `atomic_write`, `atomic_path` where a library wants a path, `atomic_files` for a set
- `lines`: a file that grows by a line at a time, and who may write alone
- `paths`: a path as somebody gives it
- `dates`: whether the date of a file tells that it was written anew
- `tables`: CSV and XLSX
- `toml_text`: values as TOML writes them
- `foreign`: the one reader of TOML and the one of JSON; a file from anybody is read by it
- `positions`: the line of each entry of a TOML text
- `entry_faults`: the entries of a TOML file against what they may be, a sentence for each fault
- `resources`: where lessons, exercises and stems of the course lie, installed or in a checkout
- `lessons`: each lesson's file, number, title and minutes by the lesson's name
"""

from gainlib.storage.atomic import atomic_files, atomic_path, atomic_write, fault_of_disk
from gainlib.storage.dates import is_settled
from gainlib.storage.lessons import (
    find_lesson,
    lesson_files,
    lesson_heading,
    lesson_name,
    lesson_number,
    page_with_a_cell,
)
from gainlib.storage.lines import append_line, held_alone
from gainlib.storage.paths import given_path
from gainlib.storage.resources import bundled, bundled_folder
from gainlib.storage.tables import Cell, csv_text, plain_cell, write_csv, write_workbook
from gainlib.storage.toml_text import toml_key, toml_value

__all__ = [
    "Cell", "append_line", "atomic_files", "atomic_path", "atomic_write", "bundled", "bundled_folder", "csv_text",
    "fault_of_disk", "find_lesson", "given_path", "held_alone", "is_settled", "lesson_files", "lesson_heading",
    "lesson_name", "lesson_number", "page_with_a_cell", "plain_cell", "toml_key", "toml_value", "write_csv",
    "write_workbook",
]  # fmt: skip
