"""The kit that any plug-in's own tests can run: a decorator per kind of plug-in, one case per rule."""

from fairhearing.conformance.analyser import analyser_cases, check_analyser
from fairhearing.conformance.golden import write_golden
from fairhearing.conformance.importer import check_importer, importer_cases
from fairhearing.conformance.importer_samples import ImporterSample
from fairhearing.conformance.kit import Case, NotApplicable, Outcome, Report, Rule, RuleBroken, report
from fairhearing.conformance.reporter import check_reporter, reporter_cases
from fairhearing.conformance.summary import check_summary, summary_cases

__all__ = [
    "Case",
    "ImporterSample",
    "NotApplicable",
    "Outcome",
    "Report",
    "Rule",
    "RuleBroken",
    "analyser_cases",
    "check_analyser",
    "check_importer",
    "check_reporter",
    "check_summary",
    "importer_cases",
    "report",
    "reporter_cases",
    "summary_cases",
    "write_golden",
]
