"""The files of a report besides its findings: tables cell by cell, page and pictures byte by byte."""

from __future__ import annotations

import csv
import io
import json
from itertools import zip_longest
from pathlib import Path

from fairhearing.files import RECORD_NAME
from fairhearing.verify.difference import Difference
from fairhearing.verify.stated_findings import FINDINGS_NAME, alike

_THERE, _MISSING = "a file", "none"


def compare_files(report: Path, anew: Path) -> list[Difference]:
    """What differs between the files that a run wrote into `report` and those written anew from the same folders."""
    differences = []
    for path in sorted(written(report) | written(anew)):
        if path == FINDINGS_NAME:
            continue
        stated, found = _content(report / path), _content(anew / path)
        if stated is None or found is None:
            place = [_MISSING if content is None else _THERE for content in (stated, found)]
            if stated is not found:
                differences.append(Difference(part="report", what=path, stated=place[0], found=place[1]))
        elif stated != found:
            differences += _differing(path, stated, found)
    return differences


def written(folder: Path) -> set[str]:
    """The files that the last run into a folder wrote, by its own list."""
    try:
        record = json.loads((folder / RECORD_NAME).read_bytes())
        return {str(path) for path in record["files"]}
    except (OSError, ValueError, KeyError, TypeError):
        return set()


def _content(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


def _differing(path: str, stated: bytes, found: bytes) -> list[Difference]:
    if path.endswith(".csv"):
        place = _first_cell(stated, found)
        if place is None:
            return []
        return [Difference(part="report", what=f"{path}, {place[0]}", stated=place[1], found=place[2])]
    lines = zip_longest(stated.splitlines(), found.splitlines())
    number = next((n for n, (one, other) in enumerate(lines, 1) if one != other), 0)
    what = f"{path}, line {number}" if number else f"{path}, ends of lines"
    return [Difference(part="report", what=what, stated="one text", found="another")]


def _first_cell(stated: bytes, found: bytes) -> tuple[str, str, str] | None:
    """Where the first cell stands that differs, with both texts; None if all are alike."""
    tables = [list(csv.reader(io.StringIO(content.decode("utf-8", "replace")))) for content in (stated, found)]
    for row, (ours, theirs) in enumerate(zip_longest(*tables, fillvalue=[]), 1):
        for column, (one, other) in enumerate(zip_longest(ours, theirs, fillvalue=""), 1):
            if not alike(_value(one), _value(other)):
                return f"line {row}, column {column}", repr(one), repr(other)
    return None


def _value(cell: str) -> object:
    try:
        return float(cell)
    except ValueError:
        return cell
