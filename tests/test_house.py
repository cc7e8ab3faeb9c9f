"""How the house stands: rooms import downward only, the package opens quickly, public functions are documented."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

import gainlib
import gainlib.meters
import gainlib.stages
from gainlib.storage import bundled_folder, lesson_files

PACKAGE = Path(gainlib.__file__).parent

# From the bottom up; a room imports only from rooms on lower floors, and inside a room no files form a circle.
FLOORS = [
    {"errors", "state"},
    {"text", "decibels", "loops", "palette"},
    {"storage", "connection", "workers"},
    {"audio", "broadcast", "decoding"},
    {"sound_file"},
    {"meters"},
    {"media_sets", "stages"},
    {"flow"},
    {"views"},
    {"page"},
    {"jupyter_home"},
    {"html"},
    {"surveys"},
    {"exercises"},
    {"authoring", "learners"},
    {"classroom"},
    {"widgets"},
    {"benches"},
    {"notebook"},
    {"cli"},
]
FLOOR = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms}
# (library, rooms that may know it)
KNOWN_BY = {
    "bokeh": {"views", "html", "authoring", "classroom", "widgets", "benches"},
    "ipywidgets": {"widgets", "benches"},
    "anywidget": {"widgets", "benches"},
    "IPython": {"widgets", "benches"},
    "soundfile": {"sound_file"},
    "numba": {"loops"},
    "jinja2": {"html"},
    "markupsafe": {"html"},
    "nbconvert": {"html"},
    "xlsxwriter": {"storage"},
}
# Rooms and files that import others of the house inside a function, and what stays closed by it.
OPENED_LATE = {
    "cli": "a command opens its rooms when it is called, so that --help is quick",
    "benches/exercise_panel.py": "the teacher's side: an exercise that a learner opens needs none of it",
    "benches/survey_on_bench.py": "ipywidgets: a survey in a script shows no bench",
    "flow/session.py": "pydantic: a lesson that reads and writes no session file needs none of it",
    "surveys/report.py": "pydantic: a survey that has no order to meet needs none of it",
    "surveys/survey.py": "Jinja: a survey that writes no gain sheet needs none of it",
    "loops/__init__.py": "numba: what it does not have to compile opens without it",
}


# What reads a TOML or JSON text by itself, and why that text is nobody else's; all others ask storage/foreign.
READS_ITS_OWN = {
    "classroom/marking.py": "an answer as the marking itself put it into its base",
    "classroom/similarity.py": "the same",
    "classroom/store.py": "a mark, likewise",
    "cli/setup.py": "what another process of the same command printed",
    "learners/progress.py": "each attempt that can still be read in a damaged record",
    "page/build_hook.py": "the lessons of a checkout, where nothing of gainlib can be imported",
    "storage/foreign.py": "the one reader",
    "widgets/picture.py": "a figure that this kernel drew",
}


@dataclass(frozen=True)
class Import:
    """One name that a file imports: `gainlib.flow.Session`, and whether a function does it."""

    name: str
    late: bool


def imports_of(source: str) -> set[Import]:
    found = set()

    def walk(node: ast.AST, late: bool) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Import):
                found.update(Import(alias.name, late) for alias in child.names)
            elif isinstance(child, ast.ImportFrom) and child.module:
                found.update(Import(f"{child.module}.{alias.name}", late) for alias in child.names)
            walk(child, late or isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda))

    walk(ast.parse(source), False)
    return found


def faults_of(room: str, source: str) -> list[str]:
    faults = []
    for name in sorted({each.name for each in imports_of(source)}):
        parts = name.split(".")
        if parts[0] == "gainlib" and len(parts) > 1:
            other = parts[1]
            if other in FLOOR and other != room and FLOOR[other] >= FLOOR[room]:
                faults.append(f"{room} imports {name}")
        elif parts[0] in KNOWN_BY and room not in KNOWN_BY[parts[0]]:
            faults.append(f"{room} imports {name}")
    return faults


def files() -> list[Path]:
    return [path for path in sorted(PACKAGE.rglob("*.py")) if "_course" not in path.relative_to(PACKAGE).parts]


def module_of(path: Path) -> str:
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def circles_of(sources: dict[str, str]) -> list[set[str]]:
    """The groups of modules that import each other, directly or by way of others; a package is not its modules."""

    def modules_meant(name: str) -> str | None:
        name = name.removeprefix("gainlib.")
        while name and name not in sources:
            name = name.rpartition(".")[0]
        return name or None

    graph = {
        module: {
            meant
            for each in imports_of(source)
            if each.name.startswith("gainlib.") and (meant := modules_meant(each.name)) not in (None, module)
        }
        for module, source in sources.items()
    }
    reached: dict[str, set[str]] = {}
    for start in graph:
        seen, todo = set(), [start]
        while todo:
            for after in graph.get(todo.pop(), ()):
                if after not in seen:
                    seen.add(after)
                    todo.append(after)
        reached[start] = seen
    circles = []
    for module in graph:
        if module in reached[module]:
            group = {other for other in reached[module] if module in reached[other]}
            if group not in circles:
                circles.append(group)
    return circles


def rooms():
    for path in files():
        inside = path.relative_to(PACKAGE).parts
        room = inside[0].removesuffix(".py")
        if room != "__init__":
            yield pytest.param(room, path, id="/".join(inside))


@pytest.mark.parametrize(("room", "path"), list(rooms()))
def test_a_room_imports_only_from_rooms_below(room, path):
    assert room in FLOOR, f"{room} has no floor: add it to FLOORS in this test and to the drawing in DEVELOPERS.md"
    assert faults_of(room, path.read_text(encoding="utf-8")) == []


def test_the_arrow_test_sees_a_wrong_arrow():
    assert faults_of("meters", "from gainlib.flow import Session") == ["meters imports gainlib.flow.Session"]
    assert faults_of("views", "from gainlib.exercises import load") == ["views imports gainlib.exercises.load"]
    assert faults_of("stages", "import bokeh.plotting") == ["stages imports bokeh.plotting"]
    assert faults_of("flow", "from gainlib.meters import measure") == []


def test_no_files_import_each_other_in_a_circle():
    assert circles_of({module_of(path): path.read_text(encoding="utf-8") for path in files()}) == []


def test_the_circle_test_sees_a_circle_that_hides_in_a_function_or_behind_a_type():
    sources = {
        "a.one": "def f():\n    from gainlib.a.two import g",
        "a.two": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from gainlib.a import three",
        "a.three": "from gainlib.a.one import f",
        "a.four": "import gainlib.a.one",
    }
    assert circles_of(sources) == [{"a.one", "a.two", "a.three"}]
    assert circles_of({**sources, "a.one": ""}) == []


def test_an_import_inside_a_function_is_one_that_keeps_a_heavy_library_closed():
    late = {
        inside.parts[0] if inside.parts[0] in OPENED_LATE else inside.as_posix()
        for path in files()
        for each in imports_of(path.read_text(encoding="utf-8"))
        if each.late and each.name.startswith("gainlib.")
        for inside in [path.relative_to(PACKAGE)]
    }
    assert late == set(OPENED_LATE), "OPENED_LATE of this test tells which imports wait, and for what"


def reads_by_itself(source: str) -> bool:
    """Whether a file calls a reader of TOML or JSON that is not the house's."""
    calls = re.compile(
        r"\b(?:tomllib|json)\.loads?\b|\bJSONDecoder\b|from (?:tomllib|json) import .*\b(?:loads?|JSONDec)"
    )
    return calls.search(source) is not None


def test_a_file_from_anybody_is_read_by_the_one_reader():
    found = {path.relative_to(PACKAGE).as_posix() for path in files() if reads_by_itself(path.read_text("utf-8"))}
    assert found <= set(READS_ITS_OWN), "read it by storage.foreign, or tell in READS_ITS_OWN whose text it is"


def test_the_reader_test_sees_another_reader():
    assert reads_by_itself("found = tomllib.loads(text)")
    assert reads_by_itself("from json import loads")
    assert not reads_by_itself("text = json.dumps(found)")


def test_no_package_or_module_bears_the_name_of_a_function():
    for path in files():
        if path.name == "__init__.py":
            package = importlib.import_module(".".join(["gainlib", module_of(path)]).rstrip("."))
            below = {each.name for each in pkgutil.iter_modules(package.__path__)}
            assert below & set(getattr(package, "__all__", ())) == set(), f"in {package.__name__}"


def test_importing_gainlib_opens_none_of_the_heavy_libraries():
    heavy = [
        "numba",
        "scipy",
        "bokeh",
        "ipywidgets",
        "anywidget",
        "soundfile",
        "IPython",
        "pydantic",
        "typer",
        "rich",
        "numpy",
    ]
    code = f"import sys, gainlib; print([each for each in {heavy} if each in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_meters_open_nothing_of_scipy_until_one_needs_it():
    code = "import sys, gainlib.meters; print([each for each in sys.modules if each.partition('.')[0] == 'scipy'])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_survey_opens_what_an_order_and_a_gain_sheet_need_for_those_alone():
    code = (
        "import sys, gainlib.surveys; print([each for each in ('pydantic', 'jinja2', 'scipy') if each in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_bokeh_is_opened_by_the_first_picture_and_by_a_lesson_s_kernel_as_it_starts():
    code = """
import sys
import gainlib.exercises, gainlib.authoring, gainlib.views
print("bokeh" in sys.modules)
import gainlib.benches.kernel_start
print("bokeh.plotting" in sys.modules)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]


def test_a_kernel_that_saturates_and_draws_the_curve_between_samples_needs_no_more_of_scipy_than_numba_does():
    code = """
import sys
import numpy as np
import gainlib as gl
from gainlib.views import CloseUp, HarmonicSpectrum
tone = gl.Audio(0.5 * np.sin(np.arange(48_000) / 7), 48_000, "tone")
rendering = gl.Session.of(tone, [gl.Trim(), gl.Saturation(6.0)]).render()
print(CloseUp(curve=True).sentence(rendering), CloseUp(curve=True).columns(rendering).keys())
print(HarmonicSpectrum().sentence(rendering))
print([each for each in ("scipy.signal", "scipy.optimize") if each in sys.modules])
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


ROOT = PACKAGE.parent
# Where a lesson's number and its name may stand together: the place that takes a file's name apart.
TELLS_NUMBERS = ROOT / "gainlib" / "storage" / "lessons.py"
LINK = re.compile(r"\]\((?P<target>[^)\s#:]+)(?:#[^)\s]*)?\)")


def numbered_lessons(text: str, names: list[str]) -> list[str]:
    """Where a text calls a lesson by a number, with its name or instead of it; a link's target is a file's name."""
    one = "|".join(name.replace("-", "[-_]") for name in sorted(names, key=len, reverse=True))
    numbered = re.compile(rf"(?<!\d)\d\d[-_](?:{one})(?![a-z])|\b(?i:lessons?),? (?:no\.? ?)?\d\d?\b")
    return numbered.findall(LINK.sub("", text))


def texts() -> list[Path]:
    """Every file of words or code, as a checkout has it and a commit would."""
    listed = ["git", "ls-files", "--cached", "--others", "--exclude-standard"]
    found = subprocess.run(listed, cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()
    kinds = {".ipynb", ".md", ".py", ".pyi", ".toml", ".json", ".js", ".css", ".html"}
    return [ROOT / name for name in found if Path(name).suffix in kinds and (ROOT / name).is_file()]


def test_what_the_build_makes_lies_in_no_commit():
    made = [path.name for path in texts() if path.name == "digests.json"]
    assert made == [], "the build lays it itself, and a second one at its place ends every installation"


def test_a_lesson_is_called_by_its_name_and_its_number_stands_in_its_files_name():
    names = list(lesson_files())
    assert len(names) == len(list(bundled_folder("lessons").glob("[0-9]*.ipynb"))), "two lessons have one name"
    found = {
        str(path.relative_to(ROOT)): wrong
        for path in texts()
        if path != TELLS_NUMBERS and (wrong := numbered_lessons(path.read_text(encoding="utf-8"), names))
    }
    assert found == {}


def test_the_number_test_sees_a_number():
    names = ["tune", "tune-by-ear"]
    for wrong in ("03-tune-by-ear", "07-tune.ipynb", "test_03_tune", f"as Lesson {13} shows", f"lessons {0}, 1"):
        assert len(numbered_lessons(f"x {wrong} y", names)) == 1, wrong
    for right in ("[Tune](03-tune.ipynb#part)", "tune-by-ear", "03-other", "a lesson of 40 minutes", "16 lessons"):
        assert numbered_lessons(right, names) == [], right


def dead_links(path: Path, files: dict[str, Path]) -> list[str]:
    """The links of a text to files that are not there; of a lesson's under another number, what it should be."""
    dead = []
    for target in (found["target"] for found in LINK.finditer(path.read_text(encoding="utf-8"))):
        if not (path.parent / target).exists():
            lesson = files.get(re.sub(r"^\d\d-|\.ipynb$", "", Path(target).name))
            dead.append(f"{target}: write {lesson.name}" if lesson else target)
    return dead


def test_every_link_to_a_file_leads_to_one():
    texts_with_links = [path for path in texts() if path.suffix in (".md", ".ipynb")]
    assert len(texts_with_links) > 20
    found = {
        str(path.relative_to(ROOT)): dead for path in texts_with_links if (dead := dead_links(path, lesson_files()))
    }
    assert found == {}


def test_the_link_test_sees_a_dead_link(tmp_path):
    (tmp_path / "there.md").write_text("[a](there.md#part) [b](01-tune.ipynb) [c](gone.md) [d](https://example.org/x)")
    assert dead_links(tmp_path / "there.md", {"tune": Path("02-tune.ipynb")}) == [
        "01-tune.ipynb: write 02-tune.ipynb",
        "gone.md",
    ]


def test_every_exercise_of_the_collection_belongs_to_a_lesson():
    given = {
        path: re.findall(r'(?m)^lesson *= "(.*)"', path.read_text(encoding="utf-8"))
        for folder in (bundled_folder("exercises"), PACKAGE / "authoring" / "templates")
        for path in folder.rglob("*.toml")
    }
    assert len(given) > 50
    assert {
        str(path): found
        for path, found in given.items()
        if found != [each for each in found[:1] if each in lesson_files()]
    } == {}


def test_every_public_name_opens():
    for name in gainlib.__all__:
        assert getattr(gainlib, name) is not None
    with pytest.raises(AttributeError, match="gainlib has no 'mesure'; it has Aim"):
        _ = gainlib.mesure


def public_things():
    for info in pkgutil.walk_packages(gainlib.__path__, "gainlib."):
        if info.name.startswith("gainlib._course"):
            continue
        module = importlib.import_module(info.name)
        for name in getattr(module, "__all__", ()):
            thing = getattr(module, name)
            if (inspect.isfunction(thing) or inspect.isclass(thing)) and thing.__module__ == info.name:
                yield pytest.param(thing, id=f"{info.name}.{name}")


@pytest.mark.parametrize("thing", list(public_things()))
def test_every_public_name_has_a_docstring_that_ends_its_first_line(thing):
    doc = inspect.getdoc(thing)
    assert doc, f"{thing.__name__} has no docstring"
    assert doc.splitlines()[0].rstrip().endswith((".", ":")), f"{thing.__name__}: {doc.splitlines()[0]}"


def public_face():
    """The names of `gl`, what the meters export and what the stages export: all that a script or a lesson writes."""
    face = {name: getattr(gainlib, name) for name in gainlib.__all__ if name != "__version__"}
    for room in (gainlib.meters, gainlib.stages):
        face |= {name: getattr(room, name) for name in room.__all__}
    return [
        pytest.param(thing, id=name)
        for name, thing in sorted(face.items())
        if inspect.isfunction(thing) or (inspect.isclass(thing) and not issubclass(thing, Exception))
    ]


def sections_of(doc: str) -> dict[str, str]:
    """The sections of a docstring in numpydoc form: a heading, a line of dashes of its length, what stands below."""
    parts = re.split(r"^(\w[\w ]*)\n(-{3,})$", doc, flags=re.MULTILINE)
    return {
        name: text for name, dashes, text in zip(parts[1::3], parts[2::3], parts[3::3], strict=True)
        if len(name) == len(dashes)
    }  # fmt: skip


def form_faults(doc: str, parameters: list[str], gives: bool, made_here: bool = False) -> list[str]:
    """What the form lacks. A class that the library makes and hands out may say `Attributes` for its parameters."""
    sections = sections_of(doc)
    told = sections.get("Parameters", "") + (sections.get("Attributes", "") if made_here else "")
    listed = {
        name.strip().lstrip("*")
        for line in re.findall(r"^(\*{0,2}\w[\w, *]*?)(?: : .*)?$", told, flags=re.MULTILINE)
        for name in line.split(",")
    }
    faults = [f"{name} is not under Parameters" for name in parameters if name not in listed]
    if gives and "Returns" not in sections and "Yields" not in sections:
        faults.append("no Returns")
    if "Examples" not in sections or ">>>" not in sections["Examples"]:
        faults.append("no example under Examples")
    known = ["Parameters", "Attributes", "Returns", "Yields", "Raises", "Notes", "References", "Examples", "See Also"]
    faults += [f"{name} is no numpydoc section" for name in sections if name not in known]
    return faults


@pytest.mark.parametrize("thing", public_face())
def test_the_public_face_is_documented_in_numpydoc_form(thing):
    signature = inspect.signature(thing)
    parameters = [name for name in signature.parameters if name != "self" and not name.startswith("_")]
    gives = inspect.isfunction(thing) and signature.return_annotation not in (None, "None")
    assert form_faults(inspect.getdoc(thing) or "", parameters, gives, inspect.isclass(thing)) == []


def test_the_form_test_sees_what_is_left_out():
    doc = "A level.\n\nParameters\n----------\nsamples : floats\n    Those.\n\nExamples\n--------\n>>> 1\n1\n"
    assert form_faults(doc, ["samples"], gives=False) == []
    assert form_faults(doc, ["samples", "rate_hz"], gives=True) == ["rate_hz is not under Parameters", "no Returns"]
    own = doc.replace("Parameters\n----------", "Attributes\n----------")
    assert form_faults(own, ["samples"], gives=False) == ["samples is not under Parameters"]
    assert form_faults(own, ["samples", "rate_hz"], gives=False, made_here=True) == ["rate_hz is not under Parameters"]
    assert form_faults("A level.\n\n>>> 1\n1", [], gives=False) == ["no example under Examples"]
