"""Builds the manual's pages into the wheel, where they are read offline."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class Manual(BuildHookInterface[Any]):
    """Puts the pages into handbell/manual; an editable install reads docs/ where it is."""

    def dependencies(self) -> list[str]:
        """Return what building needs beside hatchling."""
        return ["mkdocs>=1.6"]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the pages and name them for the wheel. Raises mkdocs' errors, strictly."""
        if version == "editable":
            return
        from mkdocs.commands.build import build
        from mkdocs.config import load_config

        self.folder = Path(tempfile.mkdtemp())
        here = Path(self.root) / "docs" / "site" / "mkdocs.yml"
        build(load_config(str(here), site_dir=str(self.folder)))
        for path in self.folder.glob("sitemap.xml*"):
            path.unlink()
        build_data["force_include"][str(self.folder)] = "handbell/manual"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Remove the pages' folder."""
        if version != "editable":
            shutil.rmtree(self.folder, ignore_errors=True)
