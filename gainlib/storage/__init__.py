"""What is kept on disk: files written whole or not at all."""

from gainlib.storage.atomic import atomic_files, atomic_path, atomic_write

__all__ = ["atomic_files", "atomic_path", "atomic_write"]
