"""Builds the loops over samples with the machine's C compiler when the package is installed; without one, goes on."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

FOLDER = Path("pipeline/fairhearing/acoustics")
OPTIONS = ("-O3", "-std=gnu11", "-ffp-contract=off", "-fPIC", "-shared", "-Wno-psabi")


class LoopsHook(BuildHookInterface):  # type: ignore[type-arg]
    """Makes _loops.library of _loops.c."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build it, and say that the wheel is for this machine."""
        compiler = shutil.which(os.environ.get("CC", "cc"))
        source, library = (Path(self.root) / FOLDER / name for name in ("_loops.c", "_loops.library"))
        if compiler is None:
            self.app.display_warning("there is no C compiler (cc): recordings will be read at about half the speed")
            return
        new = library.with_suffix(f".{os.getpid()}")
        made = subprocess.run([compiler, *OPTIONS, "-o", new, source], capture_output=True, text=True, check=False)
        if made.returncode:
            self.app.display_warning(f"{compiler} did not build {source.name}: {made.stderr.strip()[:2000]}")
            return
        new.replace(library)
        build_data["artifacts"].append(str(FOLDER / library.name))
        build_data["pure_python"], build_data["infer_tag"] = False, True
