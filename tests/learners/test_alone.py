"""A learner alone opens nothing of the teacher's side, nor of the author's."""

from __future__ import annotations

import subprocess
import sys


def test_a_learners_exercise_opens_no_room_of_others(tmp_path):
    code = """
import sys
import gainlib as gl
import gainlib.notebook
sitting = gl.exercise("recording/leave-room")
sitting.panel
sitting.check()
gl.contents(), gl.learner("Ada"), gl.hand_in(), gl.exercise_book()
print([each for each in sys.modules if each.startswith(("gainlib.classroom", "gainlib.authoring"))])
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=tmp_path)
    assert done.stdout.strip() == "[]"
