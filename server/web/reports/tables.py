"""The tables of a report as they are downloaded; each row says its term, so that files add up."""

from enum import StrEnum

from server.store.reports import Attainment
from server.web.reports.figures import Report
from server.web.spreadsheet import Cell, Share, Table

Row = tuple[Cell, ...]


class ReportTable(StrEnum):
    """Which table; the value stands in the address and in the name of the file."""

    OUTCOMES = "outcomes"
    TERMS = "terms"
    ATTEMPTS = "attempts"
    REQUIREMENTS = "requirements"
    MISTAKES = "mistakes"
    ACTIONS = "actions"


def table_of(report: Report, which: ReportTable) -> Table:
    """Return one table of the report; it has no rows where the course has no work yet."""
    match which:
        case ReportTable.OUTCOMES:
            return _outcomes(report)
        case ReportTable.TERMS:
            return _terms(report)
        case ReportTable.ATTEMPTS:
            return _attempts(report)
        case ReportTable.REQUIREMENTS:
            return _requirements(report)
        case ReportTable.MISTAKES:
            return _mistakes(report)
        case ReportTable.ACTIONS:
            return _actions(report)


def tables_of(report: Report) -> list[Table]:
    """Return all of them, in the order of the page."""
    return [table_of(report, which) for which in ReportTable]


def _outcomes(report: Report) -> Table:
    columns = ("Term", "Section", "Outcome", "What it says", "Students", "Reached", "Share")
    parts = [("all", report.overall)] + [(s.number, reached) for s, reached in report.by_section]
    return Table(
        "Outcomes",
        (*columns, "Level", "Target", "On target", "In the catalogue", "Feeds"),
        tuple(
            (
                _term(report),
                section,
                *_attainment(report, found),
                Share(found.target.level),
                Share(found.target.share),
                "yes" if found.on_target else "no",
                "yes" if found.outcome in report.listed else "no",
                _feeds(report, found.outcome),
            )
            for section, reached in parts
            for found in reached.values()
        ),
    )


def _terms(report: Report) -> Table:
    return Table(
        "From term to term",
        ("Term", "Begins", "Outcome", "What it says", "Students", "Reached", "Share"),
        tuple(
            (term.name, term.begins, *_attainment(report, found))
            for term, reached in report.by_term
            for found in reached.values()
        ),
    )


def _attempts(report: Report) -> Table:
    most = max((max(each.passed_after, default=0) for each in report.exercises), default=0)
    numbers = range(1, most + 1)
    columns = ("Term", "Exercise", "Title", "Students", "Reliability")
    rows: list[Row] = [
        (
            _term(report),
            each.exercise,
            each.title,
            each.students,
            each.reliability,
            *(each.passed_after.get(number, 0) for number in numbers),
            each.not_passed,
        )
        for each in report.exercises
    ]
    if rows:
        lab = report.lab_set
        nothing = [None] * (most + 1)
        rows.append((_term(report), "", "The lab set", lab.students, lab.alpha, *nothing))
    passed = (f"Passed after {number}" for number in numbers)
    return Table("Attempts to pass", (*columns, *passed, "Not passed"), tuple(rows))


def _requirements(report: Report) -> Table:
    columns = ("Term", "Exercise", "Title", "Requirement", "Students", "Met", "Difficulty")
    return Table(
        "Requirements",
        (*columns, "Discrimination", "Corrected item-total", "Discrimination is", "Set by hand"),
        tuple(
            (
                _term(report),
                each.exercise,
                each.title,
                item.requirement,
                item.students,
                item.met,
                item.difficulty,
                item.discrimination,
                item.corrected,
                item.says,
                item.by_hand,
            )
            for each in report.exercises
            for item in each.items
        ),
    )


def _mistakes(report: Report) -> Table:
    columns = ("Term", "Exercise", "Title", "Requirement", "Students", "Of", "Share")
    return Table(
        "Commonest mistakes",
        (*columns, "Example", "What its verdict says"),
        tuple(
            (
                _term(report),
                each.mistake.exercise,
                each.mistake.title,
                each.mistake.requirement,
                each.mistake.students,
                each.mistake.of,
                Share(each.mistake.students / each.mistake.of),
                each.mistake.example,
                each.sentence,
            )
            for each in report.mistakes
        ),
    )


def _actions(report: Report) -> Table:
    columns = ("Term", "Outcome", "Students", "Reached", "Share", "Target", "Finding", "Action")
    return Table(
        "Actions",
        (*columns, "Responsible", "Due", "Entered by", "Entered", "Term of the result", "Result"),
        tuple(
            (
                each.term.name,
                each.outcome,
                each.students,
                each.reached,
                Share(each.reached / each.students if each.students else 0.0),
                Share(each.share),
                each.finding,
                each.action,
                each.responsible,
                each.due,
                each.by.name if each.by else "",
                each.at,
                each.result_term.name if each.result_term else "",
                each.result,
            )
            for each in report.actions
        ),
    )


def _feeds(report: Report, outcome: str) -> str:
    version = report.listed.get(outcome)
    return " ".join(each.code for each in version.feeds) if version else ""


def _term(report: Report) -> str:
    return report.term.name if report.term else ""


def _attainment(report: Report, found: Attainment) -> Row:
    """Return the columns Outcome to Share."""
    says = report.names.get(found.outcome, "")
    return (found.outcome, says, found.students, found.reached, Share(found.share))
