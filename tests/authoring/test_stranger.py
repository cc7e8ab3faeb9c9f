"""A file from a stranger: whatever it holds, it ends in words or in an exercise, and reads nothing outside."""

from __future__ import annotations

import builtins
import contextlib
import pathlib
import random
import tracemalloc

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutation import ANYTHING, TEXTS, how_many, mutated, run_cases

from gainlib.audio import Audio
from gainlib.authoring.new_exercise import new_exercise
from gainlib.authoring.validation import validate
from gainlib.errors import GainError
from gainlib.exercises import author_answer, check, exercise_names, load
from gainlib.exercises.tables import EXERCISE_KINDS
from gainlib.flow import session_table
from gainlib.sound_file import read, write
from gainlib.storage import bundled_folder


@pytest.fixture(scope="module")
def sources(tmp_path_factory):
    """The text of every template and of some of the collection."""
    folder = tmp_path_factory.mktemp("sound")
    files = [new_exercise(f"levels/{kind}", kind=kind, folder=folder) for kind in EXERCISE_KINDS]
    files += sorted(bundled_folder("exercises").glob("*/*.toml"))[::6]
    return [file.read_text(encoding="utf-8") for file in files]


@pytest.fixture(scope="module")
def thin_media(tmp_path_factory):
    """The bundled recordings, of each only every sixth sample: what is rendered has to end, not to sound."""
    folder = tmp_path_factory.mktemp("media")
    for file in bundled_folder("media").glob("*.flac"):
        whole = read(file)
        write(folder / file.name, Audio(whole.samples[::6], whole.rate_hz // 6))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(session_table, "bundled_folder", lambda kind: folder if kind == "media" else bundled_folder(kind))
        yield


def ends_in_words(file, seed=0):
    """Read a file both ways, and draw two variants of it and check answers to one where it is an exercise."""
    try:
        exercise, faults, _ = validate(file)
    except GainError:  # what is no text at all
        exercise, faults = None, None
    assert (exercise is None) == (faults is None or bool(faults))
    assert all(each.said and len(each.text) < 2600 for each in faults or ())
    if exercise is None:
        with pytest.raises(GainError):
            load(file)
        return False
    loaded = load(file)
    with contextlib.suppress(GainError):  # recordings that do not fit are found when they are read
        loaded.variant(f"Bo {seed}")
        variant = loaded.variant("ada")
        answers = [variant.start, {**variant.start, **author_answer(variant)}]
        for answer in (*answers, hostile(answers[1], random.Random(seed))):
            verdict = check(variant, answer)
            assert 0.0 <= verdict.points <= verdict.out_of
    return True


def hostile(answer, rng):
    """An answer with something in it that answers nothing."""
    if not answer or rng.random() < 0.2:
        return rng.choice([*ANYTHING, {"": None}, {rng.choice(TEXTS): rng.choice(ANYTHING)}])
    return {**answer, rng.choice(list(answer)): rng.choice(ANYTHING)}


def test_a_mutated_file_ends_in_words(tmp_path, sources, thin_media):
    def case(number):
        file = tmp_path / "odd.toml"
        file.write_bytes(mutated(sources[number % len(sources)].encode(), number))
        return ends_in_words(file, seed=number)

    run_cases("exercise", how_many(100), case)


ENTRIES = """title kind given take signal stages strips buses between varies path choose plant at to by moves checks
asks among candidates set solution slips when reads measure told less reckon with base plus expected x"""
KEYS = st.sampled_from(ENTRIES.split())
TREES = st.recursive(
    st.sampled_from(["1", '"set"', '"judge"', '"x"', "nan", "true", '"media/bass.flac"', "-1e300"]),
    lambda inner: (
        st.lists(inner, max_size=4).map(lambda items: f"[{', '.join(items)}]")
        | st.dictionaries(KEYS, inner, max_size=5).map(
            lambda items: "{ " + ", ".join(f"{key} = {value}" for key, value in items.items()) + " }"
        )
    ),
    max_leaves=14,
)


@settings(
    max_examples=120, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(entries=st.dictionaries(KEYS, TREES, max_size=12), kind=st.sampled_from(sorted(EXERCISE_KINDS)))
def test_a_made_up_file_ends_in_words(tmp_path, thin_media, entries, kind):
    file = tmp_path / "odd.toml"
    text = "\n".join(f"{key} = {value}" for key, value in {**entries, "kind": f'"{kind}"'}.items())
    file.write_text(text, encoding="utf-8")
    ends_in_words(file)


@pytest.mark.parametrize(
    "take", ["../out.wav", "/etc/passwd", "media/../../out.wav", "a\0b", "CON:", "x" * 300, ".", "media"]
)
def test_nothing_outside_is_opened(tmp_path, sources, monkeypatch, take):
    text = next(text for text in sources if 'given.take   = "media/bass.flac"' in text)
    shown = take.replace("\0", "\\u0000")
    file = tmp_path / "odd.toml"
    file.write_text(text.replace("media/bass.flac", shown), encoding="utf-8")
    opened = []
    real = pathlib.Path.open

    def watched(self, *args, **kwargs):
        opened.append(str(self))
        return real(self, *args, **kwargs)

    monkeypatch.setattr(pathlib.Path, "open", watched)
    monkeypatch.setattr(
        builtins,
        "open",
        lambda name, *rest, **more: opened.append(str(name)) or real(pathlib.Path(name), *rest, **more),
    )
    with pytest.raises(GainError, match=r"take (is|of given is)"):
        load(file)
    assert all(each.endswith("odd.toml") for each in opened), opened


def compressed(strips, stages, seconds):
    """Entries of strips of made noise, each through so many compressors."""
    row = ", ".join(f'{{ stage = "Compressor", name = "c{each}" }}' for each in range(stages))
    signal = f'{{ wave = "noise", seconds = {seconds} }}'
    rows = ", ".join(f'{{ name = "s{each}", signal = {signal}, stages = [ {row} ] }}' for each in range(strips))
    return f"strips = [ {rows} ]"


def bomb(kind, folder, sources, long_flac):
    """An exercise of a few kilobytes that asks for many gigabytes."""
    text = next(text for text in sources if 'given.take   = "media/bass.flac"' in text)
    if kind == "a take of 8 channels":
        long_flac(folder / "long.flac", channels=8, rate_hz=192_000, seconds=1700)
    elif kind == "a take of hours":
        long_flac(folder / "long.flac", channels=1, rate_hz=48_000, seconds=72_000)
    else:
        head = 'title = "Many"\nlesson = "start-here"\nkind = "set"\nlevel = 1\ngoal = "x"\nbrief = "Move it."\n'
        text = f"""{head}given.{compressed(16, 31, 60)}
moves = [ {{ path = "s0/c0/threshold_db", from = -60, to = 0, step = 1 }} ]
solution = {{ "s0/c0/threshold_db" = -20 }}
[[checks]]
title = "Peak"
points = 1
reads = {{ measure = "peak_dbfs", at = "main/sum", at_least = -17, at_most = 13 }}
low = "Up."
high = "Down."
source = "x"
standing = "common practice"
"""
    file = folder / "odd.toml"
    file.write_text(text.replace("media/bass.flac", "long.flac"), encoding="utf-8")
    return file


BOMBS = ("a take of 8 channels", "a take of hours", "many compressors")


@pytest.mark.parametrize("kind", BOMBS)
def test_what_would_need_gigabytes_is_told_before_anything_is_read(tmp_path, sources, long_flac, kind):
    file = bomb(kind, tmp_path, sources, long_flac)
    assert file.stat().st_size < 40_000
    validate(file)  # what is opened for the first file of all
    tracemalloc.start()
    with pytest.raises(
        GainError, match=r"^odd.toml: this exercise would need \d+ GB of memory; at most 800 MB are taken: "
    ):
        load(file)
    exercise, faults, _ = validate(file)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert exercise is None
    assert ["would need" in each.said for each in faults] == [True]
    assert peak < 20_000_000


def test_of_a_long_take_the_part_between_is_read(tmp_path, sources, long_flac):
    file = bomb("a take of hours", tmp_path, sources, long_flac)
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("given.take ", "given.between = [0.1, 0.6]\ngiven.take "), encoding="utf-8")
    assert [each.seconds for each in load(file).layout.takes.values()] == [0.5]
    file.write_text(text.replace("given.take ", "given.between = [71990, 72001]\ngiven.take "), encoding="utf-8")
    with pytest.raises(GainError, match="between of given does not fit strip .+ runs from 0 s to 72000 s"):
        load(file)


def test_the_collection_is_far_from_the_bound():
    for name in exercise_names():
        load(name).layout.require_room(renderings=6, copies=16.0)


def test_a_damaged_take_is_told_with_the_exercise(tmp_path, sources):
    text = next(text for text in sources if 'given.take   = "media/bass.flac"' in text)
    (tmp_path / "odd.flac").write_bytes(b"fLaC" + b"x" * 100)
    file = tmp_path / "odd.toml"
    file.write_text(text.replace("media/bass.flac", "odd.flac"), encoding="utf-8")
    _, faults, _ = validate(file)
    assert [("odd.flac could not be read as a sound file" in each.said, each.line) for each in faults] == [
        (True, next(at for at, line in enumerate(file.read_text().split("\n"), 1) if "odd.flac" in line))
    ]
