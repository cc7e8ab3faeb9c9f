"""Jupyter's own folders for the course, in the user's state folder, and the kernel that a lesson runs on.

Nothing of what Jupyter, IPython or Python obey is taken from the learner's folder: no configuration, no kernel, no
settings or extensions of JupyterLab, no start-up files, and no module in place of a library's.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from gainlib.errors import GainError
from gainlib.state import ELSEWHERE, made_private, state_folder
from gainlib.storage import atomic_write

if TYPE_CHECKING:
    from jupyter_client.manager import KernelManager

__all__ = ["course_place", "jupyter_environment", "lesson_kernel", "safe_environment"]

KERNEL = "python3"
KERNEL_COMMAND = [
    # Not from the lesson's folder (-P, and IPython's own word for it); `kernel_start` lets cells import from there.
    *(sys.executable, "-P", "-m", "ipykernel_launcher", "-f", "{connection_file}"),
    *("--InteractiveShellApp.ignore_cwd=True", "--InteractiveShellApp.extra_extensions=gainlib.benches.kernel_start"),
]

_SETTINGS: dict[str, object] = {
    "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True},
    "statusbar-extension/plugin": {"visible": False},
    "notebook-extension/panel": {
        "toolbar": [{"name": name, "disabled": True} for name in ("insert", "cut", "copy", "paste", "cellType")]
    },
}
_HIDDEN = (
    "@jupyterlab/application-extension:property-inspector",
    "@jupyterlab/cell-toolbar-extension",
    "@jupyterlab/debugger-extension",
    "@jupyterlab/extensionmanager-extension",
)


def course_place(folder: Path) -> Path:
    """Where the state of one course folder is kept: its running server, its kernel, what was open in its windows.

    >>> course_place(Path("course")) == course_place(Path("other/../course"))
    True
    """
    whole = folder.expanduser().resolve()
    digest = hashlib.sha256(os.fsencode(os.path.normcase(whole))).hexdigest()[:16]
    return state_folder() / "courses" / digest


def safe_environment() -> dict[str, str]:
    """This process's environment for one beside it, which then takes no module and no program from a current folder.

    >>> safe_environment()["PYTHONSAFEPATH"]
    '1'
    """
    kept = dict(os.environ)
    # An empty entry, as a colon too many leaves one, means the current folder.
    path = [each for each in kept.pop("PYTHONPATH", "").split(os.pathsep) if os.path.isabs(each)]
    own = {"PYTHONSAFEPATH": "1", "NoDefaultCurrentDirectoryInExePath": "1"}
    return kept | own | ({"PYTHONPATH": os.pathsep.join(path)} if path else {})


def jupyter_environment(place: Path, runs: Sequence[str] = ()) -> dict[str, str]:
    """The environment of a JupyterLab or a kernel whose state is in `place`, so that nobody's own Jupyter is touched.

    Lays the few files that it points to: a kernel that is this very Python, whatever kernels the user has installed,
    and settings that make a page of a course: no news, no update checks, none of the buttons that take cells away or
    are for programmers. What a learner sets, trusts and types is kept for all their course folders beside it; a
    setting that was changed stays. The page is told the digests `runs` of the code that may run as it opens: no
    notebook reaches its settings. Raises GainError where a file cannot be written.

    >>> import tempfile
    >>> place = Path(tempfile.mkdtemp())
    >>> jupyter_environment(place)["JUPYTER_CONFIG_DIR"] == str(place / "config")
    True
    """
    common = state_folder() / "jupyter"
    runtime, settings = place / "runtime", common / "settings"
    for folder in (common, place, runtime):
        if not made_private(folder):
            raise GainError(f"{folder} cannot be kept for this user alone; name another by {ELSEWHERE}.")
    kernel = {"argv": KERNEL_COMMAND, "display_name": "Python (gainlib)", "language": "python"}
    files: dict[Path, object] = {_kernels(place) / KERNEL / "kernel.json": kernel | {"metadata": {"debugger": True}}}
    page = {"disabledExtensions": dict.fromkeys(_HIDDEN, True), "gainlibDigests": json.dumps(list(runs))}
    files[place / "config" / "labconfig" / "page_config.json"] = page
    for name, values in _SETTINGS.items():
        file = settings / "@jupyterlab" / f"{name}.jupyterlab-settings"
        if not file.exists():
            files[file] = values
    for file, content in files.items():
        atomic_write(
            file, json.dumps(content, indent=1) + "\n", make_folder=True, then=f"; name another by {ELSEWHERE}"
        )
    kept = safe_environment()
    # The last is the notebook that this may be called in, and not the one that is run.
    for key in ("JUPYTER_CONFIG_PATH", "JUPYTER_PREFER_ENV_PATH", "JUPYTER_NO_CONFIG", "JPY_SESSION_NAME"):
        kept.pop(key, None)
    return kept | {
        "JUPYTER_PATH": os.pathsep.join([str(place), *filter(None, [kept.get("JUPYTER_PATH")])]),
        "JUPYTER_CONFIG_DIR": str(place / "config"),
        "JUPYTER_DATA_DIR": str(common / "data"),
        "JUPYTER_RUNTIME_DIR": str(runtime),
        "JUPYTERLAB_SETTINGS_DIR": str(settings),
        "JUPYTERLAB_WORKSPACES_DIR": str(place / "workspaces"),
        "IPYTHONDIR": str(common / "ipython"),
    }


def lesson_kernel(place: Path) -> KernelManager:
    """The kernel of a lesson, not yet started; its files are in `place`, where `jupyter_environment` laid them.

    >>> lesson_kernel(Path("place")).kernel_name
    'python3'
    """
    from jupyter_client.kernelspec import KernelSpecManager
    from jupyter_client.manager import KernelManager

    specs = KernelSpecManager(kernel_dirs=[str(_kernels(place))], ensure_native_kernel=False)
    return KernelManager(
        kernel_name=KERNEL, kernel_spec_manager=specs, connection_file=str(place / "runtime" / "kernel.json")
    )


def _kernels(place: Path) -> Path:
    return place / "kernels"
