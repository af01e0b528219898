"""A distribution of a third party's as an installer leaves it: a module, its metadata, its entry point."""

from __future__ import annotations

import importlib
from pathlib import Path

ANALYSER = """
import os
from fairhearing.api import Finding, Inputs, Needs, Result, hookimpl

class Made:
    name = "{name}"
    version = "0.1"
    quantities = frozenset({{"{quantity}"}})
    needs = Needs(kinds=frozenset({{"response"}}))
    symmetries = ()

    def analyse(self, inputs: Inputs) -> Result:
        {work}
        return Result(findings=(
            Finding(quantity="{quantity}", value=float(os.getpid()), unit="1", method="m", caveats=("no interval",)),
        ))

@hookimpl
def fairhearing_analysers():
    return [Made()]
"""


def install_analyser(folder: Path, name: str, work: str = "pass") -> None:
    """Put an analyser that does `work` into `folder`, which is to be on sys.path."""
    module = name.replace("-", "_")
    quantity = f"{module}_process"
    folder.mkdir(exist_ok=True)
    text = ANALYSER.format(name=name, quantity=quantity, work=work)
    (folder / f"{module}.py").write_text(text, encoding="utf-8")
    metadata = folder / f"{module}-0.1.dist-info"
    metadata.mkdir()
    (metadata / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 0.1\n", encoding="utf-8")
    (metadata / "entry_points.txt").write_text(f"[fairhearing]\n{name} = {module}\n", encoding="utf-8")
    importlib.invalidate_caches()
