"""The digest of an exercise and of its recordings: other sound is another task, however soon it was written."""

from __future__ import annotations

import os
import time

from gainlib.audio import Audio
from gainlib.exercises import load
from gainlib.exercises.contents import task_digest
from gainlib.sound_file import read, write


def test_other_sound_of_the_same_size_and_date_is_another_task(written):
    exercise = load(written())
    take = exercise.file.with_name("take.wav")
    size, found = take.stat().st_size, set()
    for gain in (1.0, 0.5, 0.25):
        write(take, Audio(gain * read(take).samples, 8000), overwrite=True)
        os.utime(take, (now := int(time.time()) + 10**6, now))  # the clock of a disk that has not gone on since
        assert take.stat().st_size == size
        found.add(task_digest(exercise))
    assert len(found) == 3


def test_a_recording_that_lies_there_for_a_while_is_read_once(written, monkeypatch):
    exercise = load(written())
    take = exercise.file.with_name("take.wav")
    os.utime(take, (1e9, 1e9))
    digest = task_digest(exercise)
    monkeypatch.setattr("hashlib.file_digest", None)
    assert task_digest(exercise) == digest
