"""Hand-ins that are changed at random, whole markings of them: one sentence for each, and never a fault of our own.

The suite tries few; `GAINLIB_HAND_IN_CASES=10000` tries as many as one likes, and prints what came of them.
"""

from __future__ import annotations

import csv
import json
import os
import random
import sys
import zipfile
from collections import Counter

import pytest

from gainlib.classroom import RosterLine
from gainlib.classroom.run import mark_class
from gainlib.exercises import author_answer, load
from gainlib.learners.hand_in_file import signature_of

from .conftest import SmallClass

CASES = int(os.environ.get("GAINLIB_HAND_IN_CASES", "60"))
AT_ONCE = 100
RIDE = "rides/even-the-verse"  # one in ten hands it in, since to mark it takes longest
EXERCISES = ["recording/leave-room", "levels/two-tracks", *([RIDE] if CASES > 1000 else [])]
GOOD = "good"

HOSTILE = [
    None, True, False, 0, -1, 1, 2.5, -0.0, 1e308, -1e308, 5e-324, 10**18, 2**63, -(2**63), 10**400, float("nan"),
    float("inf"), "", " ", "x", "x" * 201, "x" * 5000, "=1+1", "x;=1", "<script>", "../../x", "\ud800", "\u202e",
    "\x1b[2J", "\x00", "line\nend", "é" * 200,
    "9999-12-31T23:59:59-14:00", "0001-01-01T00:00:00+14:00", "2090-01-01T00:00:00Z",
    "2026-01-15T12:00:00Z", [], {}, [[]], [None], [[0, 0]], [[0, 0], [0, 1]], [[1e308, -1e308]] * 3, [1] * 600,
    ["a"] * 51, {"a": {"b": 1}}, {str(index): index for index in range(101)}, *EXERCISES,
]  # fmt: skip


def deep(count):
    return json.loads("[" * count + "]" * count)


def places(value, so_far=()):
    """Every place in a JSON value."""
    yield so_far
    for key, each in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield from places(each, (*so_far, key))


def with_change(content, chance):
    """The content with one entry of it replaced, taken away, added, doubled or exchanged with another."""
    content = json.loads(json.dumps(content))
    *way, last = chance.choice([each for each in places(content) if each])
    at = content
    for key in way:
        at = at[key]
    kind = chance.random()
    value = deep(chance.choice([3, 63, 70, 400])) if kind < 0.03 else chance.choice(HOSTILE)
    if kind < 0.7:
        at[last] = value
    elif kind < 0.8:
        del at[last]
    elif kind < 0.9 and isinstance(at, dict):
        at[str(chance.choice([each for each in HOSTILE if isinstance(each, str)]))] = value
    elif isinstance(at, list):
        at += at * chance.choice([1, 1, 600])
    else:
        at[last] = chance.choice(list(at.values()))
    return content


def with_noise(content, chance):
    """The bytes with some of them changed, left out, doubled, or with the end cut off."""
    content = bytearray(content)
    for _ in range(chance.choice([1, 1, 2, 8])):
        at, span = chance.randrange(len(content) + 1), chance.choice([1, 1, 4, 40])
        part = content[at : at + span]
        content[at : at + span] = chance.choice(
            [b"", part * 2, chance.randbytes(span), bytes(each ^ 1 << chance.randrange(8) for each in part)]
        )
    return bytes(content[: chance.randrange(len(content) + 1)] if chance.random() < 0.2 else content)


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    """A class, and what each of its learners would hand in who does all right."""
    group = SmallClass(tmp_path_factory.mktemp("mutated"))
    learners = [f"m-{index:02d}" for index in range(min(AT_ONCE, CASES))]
    group.made_anew([RosterLine(id=each, name=each.upper()) for each in [GOOD, *learners]], EXERCISES)
    of_class, made = group.class_file, {}
    for learner in [GOOD, *learners]:
        answers = []
        own = [each for each in EXERCISES if each != RIDE or learner.endswith("0")]
        for variant in (load(each).variant(learner, of_class.key_of(learner)) for each in own):
            answers.append(
                {
                    "exercise": variant.exercise.name, "exercise_digest": variant.exercise.digest,
                    "values": variant.values, "answer": author_answer(variant), "hints_used": 0, "attempts": 1,
                    "time": "2026-01-15T12:00:00Z",
                }
            )  # fmt: skip
        made[learner] = json.loads(json.dumps(group.content(learner, answers=answers)))
    return group, made


def handed(group, made, learner, chance):
    """Put one changed hand-in of a learner among the others."""
    content, kind = made[learner], chance.random()
    if kind < 0.7:
        for _ in range(chance.choice([1, 1, 1, 3])):
            content = with_change(content, chance)
        if chance.random() < 0.8:  # signed by who holds the key, as a learner could who knows how
            content["signed"] = signature_of(content, group.class_file.key_of(learner))
        data = json.dumps(content).encode()
    else:
        data = with_noise(json.dumps(content, indent=1).encode(), chance)
    if chance.random() < 0.1:
        file = group.folder / f"{learner}.zip"
        with zipfile.ZipFile(file, "w", chance.choice([0, 8, 12, 14])) as archive:
            archive.writestr(chance.choice(["a.json", "b/../c.json", "\\d.json", f"{learner}.json", " "]), data)
        file.write_bytes(with_noise(file.read_bytes(), chance) if chance.random() < 0.7 else file.read_bytes())
    else:
        group.put(f"{learner}.json", data)


def test_changed_hand_ins_are_marked_or_listed_and_stop_nobody(large, tmp_path):
    group, made = large
    came_of = Counter()
    for start in range(0, CASES, AT_ONCE):
        chance = random.Random(start)
        for file in group.folder.iterdir():
            file.unlink()
        group.put("good.json", json.dumps(made[GOOD]))
        learners = list(made)[1 : 1 + CASES - start]
        for each in learners:
            handed(group, made, each, chance)
        done = mark_class(group.folder, group.file, tmp_path / f"marks-{start % 300}", feedback="none")
        with (done.out / "not-marked.csv").open(encoding="utf-8-sig", newline="") as file:
            without = list(csv.reader(file))[1:]
        for place, why in without:
            assert "gainlib itself failed" not in why, f"case of batch {start}: {place}: {why}"
            assert why.endswith((".", "?")), f"case of batch {start}: {why}"
            assert why.isprintable(), f"case of batch {start}: {why}"
        with (done.out / "marks.csv").open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
        assert next(each[EXERCISES[0]] for each in rows if each["id"] == GOOD) == "5.0"
        assert all(0 <= float(each["percent"]) <= 100 for each in rows)
        assert (done.out / "report.html").stat().st_size > 1000
        if CASES > 1000:
            print(start, end=" ", flush=True)
        came_of += Counter(hand_ins=len(learners), marked=done.handed_in - 1, rows_without_a_mark=len(without))
    assert came_of["hand_ins"] == CASES
    assert 0 < came_of["marked"] < CASES
    if CASES > 1000:
        import resource

        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // (1024**2 if sys.platform == "darwin" else 1024)
        print(f"\n{dict(came_of)}; at most {most} MB")
        assert most <= 1024
