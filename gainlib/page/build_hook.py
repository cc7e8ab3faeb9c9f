"""When a wheel is built, the digests of its lessons are made and laid beside the page's script; no file keeps them."""

from __future__ import annotations

import json
import runpy
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

BESIDE = "labextensions/gainlib/static/digests.json"


class LessonDigests(BuildHookInterface):  # type: ignore[type-arg]
    """Asked by the builder, which has none of what gainlib needs: so one file is run by its path, and none imported."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Add `digests.json`, a list of digests, where Jupyter looks for extensions and where `gainlib open` does."""
        digest = runpy.run_path(str(Path(self.root, "gainlib", "page", "lesson_code.py")))["lesson_digest"]
        files = sorted(each.path for each in self.build_config.builder.recurse_included_files())
        read = [json.loads(Path(each).read_text(encoding="utf-8")) for each in files if each.endswith(".ipynb")]
        self._made = tempfile.TemporaryDirectory()
        laid = Path(self._made.name, "digests.json")
        laid.write_text(json.dumps([found for each in read if (found := digest(each))]), encoding="utf-8")
        build_data["shared_data"][str(laid)] = f"share/jupyter/{BESIDE}"
        if version == "standard":
            build_data["force_include"][str(laid)] = f"gainlib/page/{BESIDE}"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """What was laid is in the wheel."""
        self._made.cleanup()
