"""What is kept on disk: files written whole or not at all, tables for spreadsheets, TOML, the course's own folders."""

from gainlib.storage.atomic import atomic_files, atomic_path, atomic_write
from gainlib.storage.resources import bundled, bundled_folder
from gainlib.storage.tables import Cell, csv_text, plain_cell, write_csv, write_workbook
from gainlib.storage.toml_text import toml_value

__all__ = [
    "Cell", "atomic_files", "atomic_path", "atomic_write", "bundled", "bundled_folder", "csv_text", "plain_cell",
    "toml_value", "write_csv", "write_workbook",
]  # fmt: skip
