"""Two small analysers that keep every rule, of measurements and of answers: what the saboteurs are made from."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import geometric_mean, mean

import numpy as np

from fairhearing.api import Comparison, Finding, Inputs, Needs, Result, Symmetry, Table, Take

ALL, LOW, HIGH = (1000.0, 4000.0), (1000.0, 2000.0), (2000.0, 4000.0)
Row = dict[str, str | None]
Takes = Sequence[Take]


def symmetries(**quantities: str) -> tuple[Symmetry, ...]:
    """Kinds with _ for -, each with its quantities."""
    return tuple(
        Symmetry(kind=kind.replace("_", "-"), quantities=frozenset(of.split()))  # type: ignore[arg-type]
        for kind, of in quantities.items()
    )


class Levels:
    """Level difference, level ratio and tilt between 1 and 4 kHz, per seat and over seats."""

    name, version = "levels", "1"
    quantities = frozenset({"shift", "ratio", "tilt"})
    needs = Needs(kinds=frozenset({"response"}), points=frozenset({"seat"}))
    symmetries: tuple[Symmetry, ...] = symmetries(
        swap_conditions_negates="shift tilt",
        swap_conditions_inverts="ratio",
        common_gain_invariant="shift ratio tilt",
        condition_gain_adds="shift",
        condition_gain_invariant="tilt",
        row_order_invariant="shift ratio tilt",
        relabel_seats_invariant="shift ratio tilt",
    )

    def analyse(self, inputs: Inputs) -> Result:
        findings = [finding for comparison in inputs.comparisons for finding in self.findings(inputs, comparison)]
        shown = [f for f in findings if f.quantity == "shift" and f.value is not None]
        table = Table(
            name="shifts",
            columns={"seat": [f.seat for f in shown], "shift_db": [f.value for f in shown]},
            units=self.units(),
        )
        return Result(findings=tuple(findings), tables=(table,))

    def findings(self, inputs: Inputs, comparison: Comparison) -> list[Finding]:
        made = []
        for quantity, unit in (("shift", "dB"), ("ratio", "1"), ("tilt", "dB")):
            own = {}
            for seat in inputs.session.seats:
                pair = [self.takes(inputs, seat.id, c.id) for c in (comparison.condition, comparison.reference)]
                value = getattr(self, quantity)(*pair)
                if value is not None and seat.weight > 0:
                    own[seat.id] = value
                made.append(self.finding(inputs, comparison, quantity, unit, value, seat.id, self.n(*pair)))
            over = self.over_seats(quantity, own) if own else None
            made.append(self.finding(inputs, comparison, quantity, unit, over, None, max(len(own), 1)))
        return made

    def finding(
        self, inputs: Inputs, c: Comparison, quantity: str, unit: str, value: float | None, seat: str | None, n: int
    ) -> Finding:
        half = self.half(quantity, value)
        return Finding(
            quantity=quantity,
            value=value,
            unit=unit,
            low=None if value is None else value / half if quantity == "ratio" else value - half,
            high=None if value is None else value * half if quantity == "ratio" else value + half,
            confidence=None if value is None else inputs.session.criteria.confidence,
            n=n,
            method="energy mean over 1000-4000 Hz",
            condition=c.condition.id,
            reference=c.reference.id,
            point="seat",
            playing="main",
            seat=seat,
            caveats=("no take of both conditions",) if value is None else (),
        )

    def takes(self, inputs: Inputs, seat: str, condition: str) -> Takes:
        return [
            take
            for take in inputs.takes
            if (take.kind, take.point, take.playing) == ("response", "seat", "main")
            and (take.seat, take.condition) == (seat, condition)
            and np.isfinite(self.levels(take, ALL)).any()
        ]

    def levels(self, take: Take, band: tuple[float, float]) -> np.ndarray:
        frequency = take.curve.frequency_hz
        return take.curve.level_db[(frequency >= band[0]) & (frequency <= band[1])]

    def level(self, takes: Takes, band: tuple[float, float] = ALL) -> float:
        return 10 * float(np.log10(np.mean([np.nanmean(10 ** (self.levels(take, band) / 10)) for take in takes])))

    def shift(self, condition: Takes, reference: Takes) -> float | None:
        return self.level(condition) - self.level(reference) if condition and reference else None

    def ratio(self, condition: Takes, reference: Takes) -> float | None:
        shift = Levels.shift(self, condition, reference)
        return None if shift is None else 10 ** (shift / 20)

    def tilt(self, condition: Takes, reference: Takes) -> float | None:
        if not condition or not reference:
            return None
        high, low = ([self.level(takes, band) for takes in (condition, reference)] for band in (HIGH, LOW))
        return high[0] - low[0] - (high[1] - low[1])

    def over_seats(self, quantity: str, values: dict[str, float]) -> float:
        return geometric_mean(values.values()) if quantity == "ratio" else mean(values.values())

    def half(self, quantity: str, value: float | None) -> float:
        return 1.1 if quantity == "ratio" else 0.3

    def n(self, condition: Takes, reference: Takes) -> int:
        return min(len(condition), len(reference))

    def units(self) -> dict[str, str]:
        return {"seat": "", "shift_db": "dB"}


class Answers:
    """Share of preferences for the condition, over and per programme, for what came first; its change by the end."""

    name, version = "answers", "1"
    quantities = frozenset({"win_share", "first_share", "late_change"})
    needs = Needs(methods=frozenset({"paired-preference"}), findings=frozenset({"level_difference"}))
    symmetries: tuple[Symmetry, ...] = symmetries(
        swap_conditions_mirrors="win_share",
        swap_conditions_invariant="first_share",
        row_order_invariant="win_share first_share",
        relabel_listeners_invariant="win_share first_share",
        relabel_programmes_invariant="win_share first_share",
        doubled_trials_invariant="win_share",
        first_second_mirrored="first_share",
        first_second_invariant="win_share",
        trial_order_negates="late_change",
    )

    def analyse(self, inputs: Inputs) -> Result:
        findings = []
        for comparison in inputs.comparisons:
            rows = self.rows(inputs, comparison)
            findings.append(self.finding(inputs, comparison, "win_share", self.wins(rows, comparison), None, rows))
            findings.append(self.finding(inputs, comparison, "first_share", self.firsts(rows, comparison), None, rows))
            findings.append(self.finding(inputs, comparison, "late_change", self.late(rows, comparison), None, rows))
            for programme in sorted({row["programme"] or "" for row in rows}):
                own = [row for row in rows if row["programme"] == programme]
                wins = self.wins(own, comparison)
                findings.append(self.finding(inputs, comparison, "win_share", wins, programme, own))
        return Result(findings=tuple(findings))

    def rows(self, inputs: Inputs, comparison: Comparison) -> list[Row]:
        pair = {comparison.condition.id, comparison.reference.id}
        return [
            row
            for sheet in inputs.sheets
            if sheet.method == "paired-preference"
            for row in sheet.trials.to_dict("records")
            if {row["first"], row["second"]} == pair and row["preferred"] in (*pair, "none")
        ]

    def finding(
        self, inputs: Inputs, c: Comparison, quantity: str, share: float | None, programme: str | None, rows: list[Row]
    ) -> Finding:
        matched = any(f.quantity == "level_difference" and f.verdict == "matched" for f in inputs.findings)
        return Finding(
            quantity=quantity,
            value=share,
            unit="1",
            n=len({row["listener"] for row in rows}),
            method="mean over listeners",
            condition=c.condition.id,
            reference=c.reference.id,
            programme=programme,
            caveats=("no answer",) if share is None else () if matched else ("levels were not matched",),
        )

    def wins(self, rows: list[Row], comparison: Comparison) -> float | None:
        listeners = sorted({row["listener"] or "" for row in rows})
        own = [[self.point(row, comparison) for row in rows if row["listener"] == name] for name in listeners]
        return mean(map(mean, own)) if own else None

    def point(self, row: Row, comparison: Comparison) -> float:
        return 0.5 if row["preferred"] == "none" else float(row["preferred"] == comparison.condition.id)

    def late(self, rows: list[Row], comparison: Comparison) -> float | None:
        changes = []
        for name in sorted({row["listener"] or "" for row in rows}):
            own = sorted((row for row in rows if row["listener"] == name), key=lambda row: row["trial"] or "")
            points = [self.point(row, comparison) for row in own]
            first, second = self.halves(points)
            if first and second:
                changes.append(mean(second) - mean(first))
        return mean(changes) if changes else None

    def halves(self, points: list[float]) -> tuple[list[float], list[float]]:
        half = len(points) // 2
        return points[:half], points[len(points) - half :]

    def firsts(self, rows: list[Row], comparison: Comparison) -> float | None:
        decided = [row["preferred"] == row["first"] for row in rows if row["preferred"] != "none"]
        return float(mean(decided)) if decided else None
