"""Analysers of answers with one small, plausible error each."""

from __future__ import annotations

from dataclasses import replace
from statistics import mean

from conformance.saboteurs.sound_analysers import Answers, Row

from fairhearing.api import Comparison, Finding, Inputs


class AddsAColumn(Answers):
    """Puts a column of its own into the sheet that it was handed."""

    def rows(self, inputs: Inputs, comparison: Comparison) -> list[Row]:
        for sheet in inputs.sheets:
            sheet.trials["first_preferred"] = sheet.trials["preferred"] == sheet.trials["first"]
        return super().rows(inputs, comparison)


class NamesFirstRow(Answers):
    """Says in the method whose answer came first in the sheet."""

    def finding(
        self, inputs: Inputs, c: Comparison, quantity: str, share: float | None, programme: str | None, rows: list[Row]
    ) -> Finding:
        made = super().finding(inputs, c, quantity, share, programme, rows)
        return replace(made, method=f"mean over listeners, from {rows[0]['listener']} on" if rows else made.method)


class DeclaresShams(Answers):
    """Declares shams, and leaves them out."""

    needs = replace(Answers.needs, roles=frozenset({"scored", "sham"}))

    def rows(self, inputs: Inputs, comparison: Comparison) -> list[Row]:
        scored = tuple(sheet for sheet in inputs.sheets if sheet.role == "scored")
        return super().rows(replace(inputs, sheets=scored), comparison)


class ReadsControls(Answers):
    """Takes the control trials for scored ones where it can get at them, and does not declare them."""

    def rows(self, inputs: Inputs, comparison: Comparison) -> list[Row]:
        read = tuple(sheet for sheet in inputs.sheets if sheet.role in ("scored", "control"))
        return super().rows(replace(inputs, sheets=read), comparison)


class CorrectsForGuessing(Answers):
    """A share put straight for guessing, below 0 where there were fewer than guessing gives."""

    symmetries = Answers.symmetries[2:]

    def wins(self, rows: list[Row], comparison: Comparison) -> float | None:
        share = super().wins(rows, comparison)
        return None if share is None else (share - 0.75) / 0.25


class DividesByNoRows(Answers):
    """The weight of a trial as one over how many there are."""

    def rows(self, inputs: Inputs, comparison: Comparison) -> list[Row]:
        self.weights = [1 / len(sheet.trials) for sheet in inputs.sheets]
        return super().rows(inputs, comparison)


class TiesToTheCondition(Answers):
    """Counts an answer without a preference for the condition."""

    def point(self, row: Row, comparison: Comparison) -> float:
        return float(row["preferred"] != comparison.reference.id)


class FirstsOfWinners(Answers):
    """The share of what came first among the answers for the condition alone."""

    def firsts(self, rows: list[Row], comparison: Comparison) -> float | None:
        won = [row["preferred"] == row["first"] for row in rows if row["preferred"] == comparison.condition.id]
        return float(mean(won)) if won else None


class DropsTheFirstListener(Answers):
    """Leaves out the first listener by code, who did not yet know the task."""

    def wins(self, rows: list[Row], comparison: Comparison) -> float | None:
        listeners = sorted({row["listener"] or "" for row in rows})
        return super().wins([row for row in rows if row["listener"] not in listeners[:1]] or rows, comparison)


class DropsTheFirstProgramme(Answers):
    """Leaves out the first programme by name where there are two."""

    def wins(self, rows: list[Row], comparison: Comparison) -> float | None:
        last = max((row["programme"] or "" for row in rows), default="")
        return super().wins([row for row in rows if row["programme"] == last], comparison)


class PoolsTrials(Answers):
    """The mean over all trials, where listeners are the unit."""

    def wins(self, rows: list[Row], comparison: Comparison) -> float | None:
        return mean(self.point(row, comparison) for row in rows) if rows else None


class TiesToTheFirst(Answers):
    """Counts an answer without a preference for what came first."""

    def firsts(self, rows: list[Row], comparison: Comparison) -> float | None:
        return float(mean(row["preferred"] in (row["first"], "none") for row in rows)) if rows else None


class TiesToWhatCameFirst(Answers):
    """Gives an answer without a preference to the condition that was presented first."""

    def point(self, row: Row, comparison: Comparison) -> float:
        preferred = row["first"] if row["preferred"] == "none" else row["preferred"]
        return float(preferred == comparison.condition.id)


class CountsTheMiddleLate(Answers):
    """The trial in the middle of an odd number as one of the second half."""

    def halves(self, points: list[float]) -> tuple[list[float], list[float]]:
        half = len(points) // 2
        return points[:half], points[half:]
