"""What the tests share: signals with known levels, and a count of the expected values that rest on paper."""

from __future__ import annotations

import asyncio
import functools
import re
import selectors
import sys
import tempfile
from pathlib import Path

import nbformat
import nbval.kernel
import numpy as np
import pytest
import soundfile
from hypothesis import settings

from gainlib.audio import Audio
from gainlib.sound_file import write
from gainlib.storage import bundled_folder

RATE_HZ = 48_000
EVERY_CONTROL = Path(__file__).parent / "lessons"
sys.path.append(str(Path(__file__).parent))  # what spoils files, and other takes, are shared by tests of several rooms

import forked_kernels  # noqa: E402
import second_takes  # noqa: E402
from pluses import wrong_in_outputs  # noqa: E402

# The first call of a compiled loop compiles it; how long a call takes is a matter for the benchmarks.
settings.register_profile("gainlib", deadline=None)
settings.load_profile("gainlib")


@pytest.fixture(scope="session", autouse=True)
def _own_state(tmp_path_factory):
    """What gainlib and Jupyter keep for the user is kept for these tests, and nobody's own is touched."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("GAINLIB_STATE", str(tmp_path_factory.mktemp("state")))
        patch.delenv("PYTHONUNBUFFERED", raising=False)  # what is said is kept back as on a user's computer
        yield


@pytest.fixture(scope="session")
def second_takes_folder(tmp_path_factory):
    """A school's own takes, made by arithmetic; a test that changes them makes a copy."""
    return second_takes.write_second_takes(tmp_path_factory.mktemp("school") / "takes")


@pytest.fixture
def run(monkeypatch, capsys):
    """Run a command in this process; gives status, standard output and standard error."""
    from gainlib.cli import main

    def run_it(*arguments: object):
        monkeypatch.setattr(sys, "argv", ["gainlib", *map(str, arguments)])
        monkeypatch.setenv("PYTHONSAFEPATH", "")  # the command sets it, for this test only
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return ended.value.code, said.out, said.err

    return run_it


class _NobodyWaits(asyncio.SelectorEventLoop):
    """A loop whose clock stands, and goes on at once to where the next that waits is due."""

    def __init__(self) -> None:
        selector = selectors.DefaultSelector()
        super().__init__(selector)
        self._now, look = 0.0, selector.select

        def select(timeout=None):
            self._now += timeout or 0.0
            return look(None if timeout is None else 0)

        selector.select = select

    def time(self) -> float:
        return self._now


@pytest.fixture
def run_at_once():
    """Run a coroutine by a clock of its own, so that no computer is too slow or too quick for it."""

    def run_it(coroutine):
        with asyncio.Runner(loop_factory=_NobodyWaits) as runner:
            return runner.run(coroutine)

    return run_it


@pytest.fixture(scope="module")
def two_workers():
    """Two worker processes of a cluster on this machine."""
    distributed = pytest.importorskip("distributed", reason='Dask is not installed: pip install "gainlib[cluster]"')
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as started:
        yield started


@pytest.fixture
def cluster(two_workers):
    """The same, both there: one that an earlier test has killed comes back first."""
    import distributed

    with distributed.Client(two_workers.scheduler_address) as client:
        client.wait_for_workers(2, timeout=60)
    return two_workers


@pytest.fixture
def long_flac():
    """A FLAC of a second of silence, whose header says that it lasts for hours; as a packed silence of hours would."""

    def make(path, *, channels, rate_hz, seconds):
        soundfile.write(path, np.zeros((rate_hz, channels), dtype=np.int16), rate_hz)
        data = bytearray(path.read_bytes())
        # The low 36 bits of bytes 18 to 25 (*published*, RFC 9639, 8.2): how many samples a channel there are.
        entry = int.from_bytes(data[18:26], "big")
        assert entry & (2**36 - 1) == rate_hz
        data[18:26] = (entry - rate_hz + seconds * rate_hz).to_bytes(8, "big")
        path.write_bytes(data)
        return path

    return make


@pytest.fixture
def sine_997():
    """One second of a full-scale 997 Hz sine, the reference tone of AES17."""
    return np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ)


@pytest.fixture
def square():
    """One second of a full-scale square wave of 100 Hz, 240 samples up and 240 down."""
    return np.tile(np.repeat([1.0, -1.0], 240), 100)


@pytest.fixture(scope="session")
def stand_in(tmp_path_factory):
    """A folder with leave-room.toml and take.wav: 19 s whose verse peaks at -14 dBFS and whose shout at -4 dBFS."""
    folder = tmp_path_factory.mktemp("own")
    rate_hz = 8000
    seconds = np.arange(19 * rate_hz) / rate_hz
    # 250 Hz at 8 kHz visits its crest at every period, so the sample peak is the amplitude itself.
    sine = np.sin(2 * np.pi * 250 * seconds)
    peak_dbfs = np.where(seconds < 9.3, -14.0, np.where(seconds > 17.7, -4.0, -30.0))
    write(folder / "take.wav", Audio(sine * 10 ** (peak_dbfs / 20), rate_hz))
    text = (bundled_folder("exercises") / "recording" / "leave-room.toml").read_text(encoding="utf-8")
    assert text.count('"media/lead-voice.flac"') == 1
    (folder / "leave-room.toml").write_text(text.replace('"media/lead-voice.flac"', '"take.wav"'), encoding="utf-8")
    return folder


@pytest.fixture
def written(stand_in, tmp_path):
    """Write the exercise with some text replaced, beside a copy of the take; gives the file's path."""

    def write_it(*changes: tuple[str, str]):
        text = (stand_in / "leave-room.toml").read_text(encoding="utf-8")
        for before, after in changes:
            assert before in text, f"{before!r} is no longer in the exercise; the test must follow it"
            text = text.replace(before, after, 1)
        (tmp_path / "take.wav").write_bytes((stand_in / "take.wav").read_bytes())
        file = tmp_path / "leave-room.toml"
        file.write_text(text, encoding="utf-8")
        return file

    return write_it


def pytest_configure(config):
    """Where processes fork, a lesson's kernel is a fork of one that has opened what every lesson opens."""
    if not forked_kernels.FORKS:
        return

    @functools.cache
    def nest():
        folder = tempfile.TemporaryDirectory()
        made = forked_kernels.Nest(Path(folder.name)).ready()
        config.add_cleanup(folder.cleanup)
        config.add_cleanup(made.end)
        return made

    def forked(manager, _name):
        return manager.kernel_spec_class(**nest().kernel_spec)

    nbval.kernel.NbvalKernelspecManager.get_kernel_spec = forked


def _run_and_read(item, run):
    run()
    assert wrong_in_outputs(item.test_outputs) == []


def pytest_collection_modifyitems(items):
    """Behind the last cell of each lesson comes one more, in the same kernel, that moves all that the lesson showed.

    So a lesson is executed once, by nbval, and its controls are pushed where its benches stand. What its cells say in
    figures is read as well: no amount has a plus.

    What drives a browser comes last, in whatever order files were named: as long as one is open, nothing else of the
    process can run a loop of its own.
    """
    items.sort(key=lambda item: item.get_closest_marker("browser") is not None)
    last = {item.path: place for place, item in enumerate(items) if re.match(r"\d\d-.+\.ipynb", item.path.name)}
    for item in items:
        if item.path in last:
            item.runtest = functools.partial(_run_and_read, item, item.runtest)
    code = (
        f"import sys; sys.path[:0] = [{str(EVERY_CONTROL)!r}, {str(EVERY_CONTROL.parent)!r}]\n"
        "from every_control import push_every_control\n"
        "push_every_control()"
    )
    for place in sorted(last.values(), reverse=True):
        item = items[place]
        cell = nbformat.v4.new_code_cell(code)
        behind = type(item).from_parent(
            item.parent, name="every control at its ends", cell_num=item.cell_num + 1, cell=cell, options=item.options
        )
        items.insert(place + 1, behind)
