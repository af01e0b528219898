"""How listeners grade condition and reference: sheets of three scales to rating_difference and what backs it."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from fairhearing.api import ChartRequest, Finding, Inputs, Needs, Refusal, Result, Symmetry, Table, hookimpl
from fairhearing_builtins.analysers.exclusions import with_and_without
from fairhearing_builtins.analysers.grading_charts import charts_of
from fairhearing_builtins.analysers.grading_findings import Case, differences
from fairhearing_builtins.analysers.grading_panel import agreement, repeatability
from fairhearing_builtins.analysers.grading_screening import (
    MID_ANCHOR,
    Screened,
    left_out,
    screened,
    screening_table,
)
from fairhearing_builtins.analysers.grading_trials import Ratings, exchanged, gather, units
from fairhearing_builtins.analysers.listening import CONTROL, Pair, labels_are_labels

DIFFERENCE = frozenset({"rating_difference"})
QUANTITIES = DIFFERENCE | {"listener_agreement", "rating_repeatability"}
# ITU-R BS.1284: the grade is of the second relative to the first.
SIGN = "; rated is the second relative to the first (BS.1284), turned to the condition relative to the reference"
REFERENCE_ALONE = (
    f"; screened by the hidden reference (BS.1534-3), not by a mid-range anchor: no condition has the id {MID_ANCHOR}"
)
REFERENCE_AND_ANCHOR = "; screened by the hidden reference and the mid-range anchor (BS.1534-3)"
EXPERTISE = "; screened by a t-test of objects against the hidden reference (BS.1116-3)"


class Grading:
    """Differences of ratings over listeners, screened by the rules of the scale; how well listeners agree."""

    name = "grading"
    version = "3"
    quantities = QUANTITIES
    needs = Needs(methods=frozenset({"grading"}), findings=frozenset({"level_difference", CONTROL}))
    symmetries = (
        Symmetry(kind="swap-conditions-negates", quantities=DIFFERENCE),
        Symmetry(kind="doubled-trials-invariant", quantities=DIFFERENCE),
        Symmetry(kind="first-second-invariant", quantities=QUANTITIES),
        Symmetry(kind="row-order-invariant", quantities=QUANTITIES),
        *labels_are_labels(QUANTITIES),
    )

    def analyse(self, inputs: Inputs) -> Result:
        """Findings of each scale; sheets of one scale are pooled. The first scale that was used has the headline."""
        return with_and_without(inputs, self._analyse, DIFFERENCE)

    def _analyse(self, inputs: Inputs) -> Result:
        findings: list[Finding] = []
        tables: list[Table] = []
        charts: list[ChartRequest] = []
        refusals: list[Refusal] = []
        for index, (scale, ratings) in enumerate(gather(inputs).items()):
            found = _of_scale(inputs, ratings, scale if index else None)
            findings += found.findings
            tables += found.tables
            charts += found.charts
            refusals += found.refusals
        return Result(findings=tuple(findings), tables=tuple(tables), charts=tuple(charts), refusals=tuple(refusals))


def _of_scale(inputs: Inputs, ratings: Ratings, prefix: str | None) -> Result:
    """All that the ratings on one scale say; `prefix` goes before every variant."""
    findings: list[Finding] = []
    tables: list[Table] = []
    charts: list[ChartRequest] = []
    refusals: list[Refusal] = []
    for reference in sorted(ratings.references):
        conditions = sorted(ratings.references[reference] - {reference})
        if not conditions:
            refusals.append(
                Refusal(
                    what=f"rating_difference on the scale {ratings.scale}",
                    why=f"no condition but the reference {reference!r} was rated",
                    try_="name the other condition in its [[scores]]: treatment = …",
                )
            )
            continue
        rows = screened(ratings, reference)
        if rows:
            suffix = "" if reference == inputs.session.reference.id else f"-against-{reference}"
            tables.append(screening_table(f"screening-{ratings.scale}{suffix}", rows))
        for condition in conditions:
            case = _case(inputs, ratings, Pair(condition=condition, reference=reference), prefix, rows)
            own = differences(case)
            findings += own
            charts += charts_of(inputs.session, case, own)
    if findings:
        findings += agreement(ratings, inputs.session.criteria.confidence, case.variant)
        findings += repeatability(ratings, case.variant)
    return Result(findings=tuple(findings), tables=tuple(tables), charts=tuple(charts), refusals=tuple(refusals))


def _case(inputs: Inputs, ratings: Ratings, pair: Pair, prefix: str | None, rows: Sequence[Screened]) -> Case:
    anchored = any(rating.condition == MID_ANCHOR for rating in ratings.ratings)
    notes = {
        "comparison": SIGN,
        "quality": REFERENCE_AND_ANCHOR if anchored else REFERENCE_ALONE,
        "impairment": EXPERTISE,
    }
    here = left_out(rows)
    # With nobody left out the plain test stands: simulated, it is off by less than 1 % then.
    there = left_out(screened(exchanged(ratings, pair), pair.reference)) if here else {}
    return Case(
        inputs=inputs,
        scale=ratings.scale,
        pair=pair,
        prefix=prefix,
        units=units(ratings.ratings, ratings.scale, pair),
        left_out=here,
        weights={name: Fraction(2 - (name in here) - (name in there), 2) for name in {*here, *there}},
        note=notes[ratings.scale],
        caveats=ratings.caveats,
    )


@hookimpl
def fairhearing_analysers() -> list[Grading]:
    """The analyser of gradings."""
    return [Grading()]
