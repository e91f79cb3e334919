"""The report's file for the demo against a calculation of its own with pandas, from raw rows.

Nothing of the store's standings, statistics or figures is used: attempts, verdicts and results are
read as rows, and the file is read by another library than the one that writes it.
"""

import io
import re
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pandas as pd
import pytest
from python_calamine import CalamineWorkbook
from sqlalchemy import text
from starlette.testclient import TestClient

from server.demo import course as demo
from server.marking.exercise import Exercise
from server.marking.files.exercise_file import load_exercise
from server.paths import EXERCISES
from server.settings import Settings
from server.store.database import Database, UtcDateTime
from server.web.app import create_app
from server.web.reports.tables import ReportTable
from tests.factories import NOON, Clock

SLUGS = ("apple-wash-sump", "crate-infeed", "condensate-pit")
ORIGIN = "http://testserver"

ATTEMPTS = """
SELECT t.name AS term, e.section_id, c.number AS section, a.exercise, s.user_id, s.id,
  s.submitted_at, a.due_at, x.due_at AS extended, coalesce(p.extra_days, 0) AS days,
  v.score + coalesce(h.added, 0) AS score, v.max_score, a.late_per_day
FROM submissions s JOIN verdicts v ON v.submission_id = s.id
JOIN assignments a ON a.id = s.assignment_id
JOIN sections c ON c.id = a.section_id JOIN terms t ON t.id = c.term_id
JOIN enrolments e ON e.section_id = c.id AND e.user_id = s.user_id AND e.role = 'student'
  AND NOT e.incomplete
LEFT JOIN extensions x ON x.assignment_id = a.id AND x.user_id = s.user_id
LEFT JOIN (
  SELECT r.submission_id, sum(b.share * r.max_score - r.score) AS added FROM results_by_hand b
  JOIN requirement_results r ON r.submission_id = b.submission_id AND r.requirement = b.requirement
  GROUP BY r.submission_id
) h ON h.submission_id = s.id
LEFT JOIN accommodations p ON p.user_id = s.user_id AND a.due_at BETWEEN p.begins_at AND p.ends_at
LEFT JOIN excuses u ON u.assignment_id = a.id AND u.user_id = s.user_id
WHERE u.user_id IS NULL
ORDER BY s.id
"""


RESULTS = """
SELECT r.submission_id, r.requirement, r.max_score,
  coalesce(b.share * r.max_score, r.score) AS score, b.share IS NOT NULL AS by_hand,
  CASE WHEN b.share IS NULL THEN r.status WHEN b.share = 1 THEN 'met' ELSE 'not met' END AS status
FROM requirement_results r LEFT JOIN results_by_hand b
  ON b.submission_id = r.submission_id AND b.requirement = r.requirement
ORDER BY r.position
"""


@pytest.fixture(scope="module")
def loaded(
    migrated_file: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[TestClient, Database, list[Exercise]]]:
    """A client of the department on the demo with two exercises."""
    file = tmp_path_factory.mktemp("demo") / "rungmark.db"
    file.write_bytes(migrated_file.read_bytes())
    exercises = [load_exercise(EXERCISES / slug) for slug in SLUGS]
    with closing(Database(f"sqlite:///{file}")) as database:
        with database.write() as session:
            demo.load_demo(session, exercises, NOON)
        settings = Settings(database_url=database.place, public_urls=(ORIGIN,), exercises=EXERCISES)
        app = create_app(settings, database, Clock(NOON))
        with closing(TestClient(app, base_url=ORIGIN, headers={"Origin": ORIGIN})) as client:
            form = {"email": "wanjiru.kamande@larkmoor.example", "password": demo.PASSWORD}
            assert client.post("/sign-in", data=form).status_code == 200
            yield client, database, exercises
        app.state.worker.stop()


@pytest.fixture(scope="module")
def counted(loaded: tuple[TestClient, Database, list[Exercise]]) -> pd.DataFrame:
    """The attempts that count, one row each: the best after deductions, of equals the first."""
    _, database, _ = loaded
    with database.read() as session:
        moments = text(ATTEMPTS).columns(
            submitted_at=UtcDateTime, due_at=UtcDateTime, extended=UtcDateTime
        )
        attempts = pd.DataFrame(session.execute(moments).mappings().all())
    own = attempts.due_at + pd.to_timedelta(attempts.days, unit="D")
    attempts["due_at"] = own.where(
        attempts.extended.isna() | (own > attempts.extended), attempts.extended
    )
    late = (attempts.submitted_at - attempts.due_at).dt.total_seconds() / 86400
    days = np.ceil(late.clip(lower=0))
    attempts["worth"] = attempts.score * (1 - days * attempts.late_per_day).clip(lower=0)
    place = ["term", "exercise", "user_id"]
    full = attempts[attempts.score == attempts.max_score].groupby(place).id.min()
    order = attempts.sort_values(["submitted_at", "id"]).groupby(place).cumcount() + 1
    numbers = pd.Series(order.values, index=attempts.loc[order.index, "id"])
    best = attempts.sort_values(["worth", "id"], ascending=[False, True]).groupby(place).head(1)
    first_full = best.set_index(place).index.map(full)
    return best.assign(passed=[numbers.get(id, np.nan) for id in first_full]).sort_values("id")


@pytest.fixture(scope="module")
def results(loaded: tuple[TestClient, Database, list[Exercise]]) -> pd.DataFrame:
    """A row for each requirement of each verdict, in the order of the exercise."""
    _, database, _ = loaded
    with database.read() as session:
        rows = session.execute(text(RESULTS))
        return pd.DataFrame(rows.mappings().all())


def sheets(client: TestClient, term: int) -> dict[str, pd.DataFrame]:
    answer = client.get(f"/reports/1/report.xlsx?term={term}")
    assert answer.status_code == 200
    book = CalamineWorkbook.from_filelike(io.BytesIO(answer.content))
    found = {}
    for name in book.sheet_names:
        head, *rows = book.get_sheet_by_name(name).to_python()
        found[name] = pd.DataFrame(rows, columns=[str(each) for each in head])
    return found


VERSIONS = """
SELECT v.outcome, v.share, v.level FROM outcome_versions v JOIN terms t ON t.id = v.term_id
WHERE v.listed AND t.begins <= (SELECT begins FROM terms WHERE id = :term) ORDER BY t.begins
"""

PROGRAM_ROW = re.compile(r'class="under mono">([\w-]+)</span></th>\s*.*?(\d+) of (\d+)')

TERMS = {1: "Spring 2026", 2: "Fall 2026"}


@pytest.fixture(scope="module")
def reached(
    loaded: tuple[TestClient, Database, list[Exercise]],
    counted: pd.DataFrame,
    results: pd.DataFrame,
) -> pd.DataFrame:
    """A row for each student and outcome: whether they have reached it, with 0.7 of its points."""
    outcome_of = pd.DataFrame(
        [
            {"exercise": exercise.slug, "requirement": each.id, "outcome": outcome}
            for exercise in loaded[2]
            for each in exercise.requirements
            for outcome in each.outcomes
        ]
    )
    rows = (
        counted.drop(columns=["score", "max_score"])
        .merge(results, left_on="id", right_on="submission_id")
        .merge(outcome_of, on=["exercise", "requirement"])
    )
    sums = rows.groupby(["term", "section", "outcome", "user_id"])[
        ["score", "max_score", "by_hand"]
    ].sum()
    sums["reached"] = sums.score / sums.max_score >= 0.7 - 1e-9
    return sums.reset_index()


@pytest.mark.parametrize("term", TERMS)
def test_outcomes(
    loaded: tuple[TestClient, Database, list[Exercise]],
    reached: pd.DataFrame,
    term: int,
) -> None:
    client, database, _ = loaded
    table = sheets(client, term)["Outcomes"]
    here = reached[reached.term == TERMS[term]]
    expected = {
        **here.groupby(["section", "outcome"]).reached.agg(["size", "sum"]).T.to_dict("list"),
        **{
            ("all", outcome): [len(own), own.reached.sum()]
            for outcome, own in here.groupby("outcome")
        },
    }
    found = {(row.Section, row.Outcome): [row.Students, row.Reached] for row in table.itertuples()}
    assert found == expected
    assert np.allclose(table.Share, table.Reached / table.Students)
    with database.read() as session:
        versions = pd.DataFrame(session.execute(text(VERSIONS), {"term": term}).mappings().all())
    newest = versions.groupby("outcome").last()
    assert len(newest) > 3
    local = ~table.Outcome.isin(newest.index)
    assert list(table["In the catalogue"]) == ["no" if each else "yes" for each in local]
    shares = table.Outcome.map(newest["share"]).fillna(0.8)
    assert np.allclose(table.Target, shares)
    assert np.allclose(table.Level, table.Outcome.map(newest["level"]).fillna(0.7))
    on = (table.Share >= shares).map({True: "yes", False: "no"})
    assert list(table["On target"]) == list(on)
    program = client.get(f"/program-outcomes?term={term}").text
    fed = PROGRAM_ROW.findall(program)
    assert {name for name, *_ in fed} == set(newest.index)
    for name, reached_by, students in fed:
        assert [int(students), int(reached_by)] == expected["all", name]
    over_terms = sheets(client, 2)["From term to term"]
    for row in over_terms[over_terms.Term == TERMS[term]].itertuples():
        assert [row.Students, row.Reached] == expected["all", row.Outcome]
        assert row.Begins == (date(2026, 1, 1) if term == 1 else date(2026, 7, 1))


@pytest.mark.parametrize("term", TERMS)
def test_requirements_attempts_and_mistakes(
    loaded: tuple[TestClient, Database, list[Exercise]],
    counted: pd.DataFrame,
    results: pd.DataFrame,
    term: int,
) -> None:
    found = sheets(loaded[0], term)
    here = counted[counted.term == TERMS[term]].sort_values("user_id")
    wrong: dict[tuple[Any, Any], int] = {}
    set_by_hand = here[["exercise", "id"]].merge(results, left_on="id", right_on="submission_id")
    by_hand = set_by_hand.groupby(["exercise", "requirement"]).by_hand.sum()
    for exercise, own in here.groupby("exercise"):
        matrix = (
            results[results.submission_id.isin(own.id)]
            .assign(met=lambda rows: (rows.status == "met").astype(float))
            .pivot_table(index="submission_id", columns="requirement", values="met")
            .loc[own.id]
        )
        total = matrix.sum(axis=1)
        by_total = matrix.loc[total.sort_values(ascending=False, kind="stable").index]
        group = max(1, round(0.27 * len(matrix)))
        items = found["Requirements"].query("Exercise == @exercise").set_index("Requirement")
        assert set(items.index) == set(matrix.columns)
        for name, column in matrix.items():
            item = items.loc[name]
            assert (item.Students, item.Met) == (len(matrix), column.sum())
            assert item.Difficulty == pytest.approx(column.mean())
            ends = by_total[name].head(group).mean() - by_total[name].tail(group).mean()
            assert item.Discrimination == pytest.approx(ends)
            assert item["Set by hand"] == by_hand[exercise, name]
            says = {0: "met by none", len(column): "met by all"}.get(column.sum())
            assert says is None or item["Discrimination is"] == says
            rest = total - column
            if column.std() and rest.std():
                assert item["Corrected item-total"] == pytest.approx(column.corr(rest))
            else:
                assert item["Corrected item-total"] == ""
            if column.sum() < len(column):
                wrong[exercise, name] = int(len(column) - column.sum())
        k, p = matrix.shape[1], matrix.mean()
        (row,) = found["Attempts to pass"].query("Exercise == @exercise").to_dict("records")
        kr20 = k / (k - 1) * (1 - (p * (1 - p)).sum() / total.var(ddof=0))
        assert row["Reliability"] == (pytest.approx(kr20) if len(matrix) >= 30 else "")
        assert row["Not passed"] == own.passed.isna().sum()
        for number in range(1, 5):
            assert row.get(f"Passed after {number}", 0) == (own.passed == number).sum()
    mistakes = found["Commonest mistakes"]
    listed = {(row.Exercise, row.Requirement): row.Students for row in mistakes.itertuples()}
    assert {place: wrong[place] for place in listed} == listed
    assert sorted(listed.values()) == sorted(wrong.values())[-len(listed) :]
    for row in mistakes.itertuples():
        assert here[here.exercise == row.Exercise].user_id.nunique() == row.Of
        assert row.Share == pytest.approx(row.Students / row.Of)
        shown = results[
            (results.submission_id == row.Example) & (results.requirement == row.Requirement)
        ]
        assert list(shown.status) != ["met"]
    shares = here.assign(share=here.score / here.max_score).pivot_table(
        index="user_id", columns="exercise", values="share"
    )
    every = shares[[name for name in shares if shares[name].notna().sum() * 2 > len(shares)]]
    every = every.dropna()
    k = every.shape[1]
    alpha = k / (k - 1) * (1 - every.var(ddof=0).sum() / every.sum(axis=1).var(ddof=0))
    (row,) = found["Attempts to pass"].query("Title == 'The lab set'").to_dict("records")
    assert row["Students"] == len(every)
    assert row["Reliability"] == (pytest.approx(alpha) if len(every) >= 30 else "")


GLANCE = re.compile(r"<strong>(\d+)(?: of (\d+))?</strong> (outcomes?|students?|exercises?|open)")
CHANGE = re.compile(
    r'<tr><th scope="row">([^<]+)</th>(?:(?!</tr>).)*<td class="number">([^<]*)</td>', re.S
)
ACTIONS = """
SELECT a.outcome, t.name AS term, a.students, a.reached, a.share, a.closed_at
FROM outcome_actions a JOIN terms t ON t.id = a.term_id ORDER BY t.begins, a.id
"""


def test_the_front_page_the_changes_and_the_actions(
    loaded: tuple[TestClient, Database, list[Exercise]],
    counted: pd.DataFrame,
    reached: pd.DataFrame,
) -> None:
    """What stands on the page and in no file, and the figures that actions have kept."""
    client, database, exercises = loaded
    page = client.get("/reports/1?term=2").text
    glance = {what: (int(n), of) for n, of, what in GLANCE.findall(page)}
    table = sheets(client, 2)["Outcomes"].query("Section == 'all'")
    here = counted[counted.term == TERMS[2]]
    with database.read() as session:
        actions = pd.DataFrame(session.execute(text(ACTIONS)).mappings().all())
    on_target = sum(table["On target"] == "yes")
    assert glance == {
        "outcomes": (on_target, str(len(table))),
        "students": (here.user_id.nunique(), ""),
        "exercises": (here.exercise.nunique(), ""),
        "open": (actions.closed_at.isna().sum(), ""),
    }
    shares = reached.groupby(["term", "outcome"]).reached.mean().unstack("term")
    words = {name: words for each in exercises for name, words in each.outcomes.items()}
    shown = dict(CHANGE.findall(client.get("/reports/1?term=2&leaf=trend").text))
    assert set(shown) == set(words.values())
    for outcome, row in shares.iterrows():
        points = 100 * (row[TERMS[2]] - row[TERMS[1]])
        said = shown[words[str(outcome)]].replace("\N{MINUS SIGN}", "-")
        assert abs(float(said.split()[0]) - points) <= 0.5 + 1e-9, outcome
    assert len(actions) == 2
    for action in actions.itertuples():
        own = reached[(reached.term == action.term) & (reached.outcome == action.outcome)]
        assert (action.students, action.reached) == (len(own), own.reached.sum())
    in_file = sheets(client, 2)["Actions"]
    assert sorted(in_file.Share) == pytest.approx(sorted(actions.reached / actions.students))


FIGURE = re.compile(r'<a href="([^"]+/work[^"]*)">([^<]+)</a>(?:<span class="of">([^<]*))?')


@pytest.mark.parametrize("term", TERMS)
def test_every_figure_leads_to_the_submissions_it_counts(
    loaded: tuple[TestClient, Database, list[Exercise]], term: int
) -> None:
    client, _, _ = loaded
    # The binder has every leaf of the report.
    page = client.get(f"/reports/1/binder?term={term}").text
    kinds = set()
    for address, figure, of in FIGURE.findall(page):
        query = parse_qs(urlsplit(unescape(address)).query)
        answer = client.get(unescape(address))
        assert answer.status_code == 200
        rows = len(re.findall(r">attempt \d+</a>", answer.text))
        students = int(re.findall(r"\d+", of)[-1]) if of else rows
        met = answer.text.count("</span>met</span>")
        reached = answer.text.count("</span>reached</span>")
        kind = frozenset(query) - {"term"}
        kinds.add(kind)
        if "outcome" in query:
            assert reached + answer.text.count("</span>below the level</span>") == students
            assert figure == f"{100 * reached / students:.0f}\u202f%"
        elif "requirement" in query:
            # A requirement's figure counts who meets it, a mistake's who does not.
            wrong = re.fullmatch(r"(\d+) of (\d+) students", figure)
            expected = (rows - int(wrong[1]), int(wrong[2])) if wrong else (int(figure), students)
            assert (met, rows) == expected
        elif "exercise" in query:
            assert rows == int(figure)
        else:
            # The reliability of the lab set rests on all work.
            assert re.fullmatch(r"\N{MINUS SIGN}?\d?\.\d\d", figure)
    by_outcome = {frozenset({"outcome"}), frozenset({"outcome", "section"})}
    by_exercise = {frozenset({"exercise", name}) for name in ("requirement", "passed")}
    # The reliability of the lab set needs more students than the term before has.
    of_set = [frozenset[str]()] if term == 2 else []
    assert kinds == {*by_outcome, *by_exercise, frozenset({"exercise"}), *of_set}


SAMPLE = re.compile(
    r"<h3>([^<]+)</h3>|<strong>(\w+) the level</strong>, (\d+)\u202f%.*?/submissions/(\d+)"
)


def test_samples_are_below_at_and_above_the_level(
    loaded: tuple[TestClient, Database, list[Exercise]],
    counted: pd.DataFrame,
    results: pd.DataFrame,
) -> None:
    client, _, exercises = loaded
    names = {text: name for each in exercises for name, text in each.outcomes.items()}
    shown: dict[str, list[tuple[str, int, int]]] = {}
    for heading, place, share, submission in SAMPLE.findall(
        client.get("/reports/1/binder?term=2").text
    ):
        if heading:
            own = shown[names[unescape(heading)]] = []
        else:
            own.append((place, int(share), int(submission)))
    here = counted[counted.term == TERMS[2]].drop(columns=["score", "max_score"])
    rows = here.merge(results, left_on="id", right_on="submission_id")
    named = {(e.slug, r.id): r.outcomes for e in exercises for r in e.requirements}
    rows["outcomes"] = [named[place] for place in zip(rows.exercise, rows.requirement, strict=True)]
    rows = rows.explode("outcomes").dropna(subset="outcomes")
    assert set(shown) == set(rows.outcomes)
    for outcome, of in rows.groupby("outcomes"):
        sums = of.groupby("user_id")[["score", "max_score"]].sum()
        share = (sums.score / sums.max_score).sort_values(kind="stable")
        below, reached = share[share < 0.7 - 1e-9], share[share >= 0.7 - 1e-9]
        expected = {"Below": below.tail(1), "At": reached.head(1)}
        if reached.max() > reached.min() + 1e-9:
            expected["Above"] = reached.tail(1)
        expected = {place: one for place, one in expected.items() if len(one)}
        assert [place for place, *_ in shown[outcome]] == list(expected)
        for place, percent, submission in shown[outcome]:
            (value,) = expected[place]
            assert percent == int(f"{100 * value:.0f}")
            (who,) = set(of[of.submission_id == submission].user_id)
            assert share[who] == value
            stake = of[of.user_id == who].groupby("submission_id").max_score.sum()
            assert stake[submission] == stake.max()


def test_each_table_is_a_file_of_its_own_too(
    loaded: tuple[TestClient, Database, list[Exercise]],
) -> None:
    client, _, _ = loaded
    page = client.get("/reports/1/binder?term=2").text
    links = [unescape(each) for each in re.findall(r'href="([^"]+report\.csv[^"]*)"', page)]
    order = [table.value for table in ReportTable]
    links.sort(key=lambda link: order.index(parse_qs(urlsplit(link).query)["table"][0]))
    book = sheets(client, 2)
    assert len(links) == len(book) == 6
    for link, (name, sheet) in zip(links, book.items(), strict=True):
        table = pd.read_csv(io.BytesIO(client.get(link).content), encoding="utf-8-sig")
        assert list(table.columns) == list(sheet.columns), name
        assert len(table) == len(sheet), name
        numbers = [column for column in ("Share", "Reached", "Difficulty") if column in table]
        assert np.allclose(table[numbers], sheet[numbers].astype(float)), name
