"""Drafts and their revisions, published versions, and verdicts that are replaced but kept."""

from dataclasses import replace
from datetime import timedelta

from server.marking.verdict import Status
from server.marking.verdict_form import to_json
from server.store.assignment_policy import pair_up
from server.store.attempts import StoredVerdict
from server.store.author_sandbox import sandbox_assignment
from server.store.authored import (
    begin,
    find_authored,
    keep_findings,
    newest_version,
    publish,
    retire,
    save_draft,
    versions_of,
)
from server.store.courses import SectionRole, all_sections, sections_of
from server.store.database import Database
from server.store.people import Role
from server.store.regrades import (
    earlier_verdicts,
    mark_seen,
    marked_submissions,
    replace_verdicts,
    unseen_changes,
)
from tests.factories import (
    NOON,
    make_assignment,
    make_marked,
    make_section,
    make_user,
    make_verdict,
)


def a_draft(database: Database) -> int:
    with database.write() as session:
        author = make_user(session, Role.INSTRUCTOR)
        draft = begin(session, author.id, "day-tank", "Day tank", "title: a\n", {}, NOON)
        assert draft is not None
        assert begin(session, author.id, "day-tank", "Again", "", {}, NOON) is None
        return draft.id


def test_a_change_of_an_older_revision_changes_nothing(database: Database) -> None:
    id = a_draft(database)
    with database.write() as session:
        saved = save_draft(session, id, "title: b\n", {}, title="B", revision=1, now=NOON)
        assert saved is not None
        assert saved.revision == 2
    with database.write() as session:
        late = save_draft(session, id, "title: c\n", {}, title="C", revision=1, now=NOON)
        assert late is None
    with database.read() as session:
        kept = find_authored(session, id)
        assert kept is not None
        assert (kept.text, kept.title, kept.revision) == ("title: b\n", "B", 2)


def test_findings_of_an_older_revision_are_not_kept(database: Database) -> None:
    id = a_draft(database)
    with database.write() as session:
        save_draft(session, id, "title: b\n", {}, title="B", revision=1, now=NOON)
        assert not keep_findings(session, id, 1, {"findings": ["old"]})
        assert keep_findings(session, id, 2, {"findings": []})


def test_a_published_version_stays_as_it_was(database: Database) -> None:
    id = a_draft(database)
    with database.write() as session:
        draft = find_authored(session, id)
        assert draft is not None
        publish(session, draft, 1, NOON, reason="", open_findings=0)
        save_draft(session, id, "title: b\n", {}, title="B", revision=1, now=NOON)
        retire(session, draft)
    with database.read() as session:
        newest = newest_version(session, "day-tank")
        assert newest is not None
        assert newest.text == "title: a\n"
        assert [each.version for each in versions_of(session, id)] == [1]
        assert newest_version(session, "none") is None


def test_a_bench_is_made_once_and_stands_in_no_list(database: Database) -> None:
    with database.write() as session:
        author = make_user(session, Role.INSTRUCTOR)
        one = sandbox_assignment(session, author.id, "bench.day-tank", "Day tank", NOON)
        two = sandbox_assignment(session, author.id, "bench.day-tank", "Day tank", NOON)
        assert one.id == two.id
        assert sections_of(session, author.id) == []
        assert all_sections(session) == []


def test_points_fall_only_where_the_instructor_says_so(database: Database) -> None:
    with database.write() as session:
        student = make_user(session)
        assignment = make_assignment(session, make_section(session), exercise="day-tank")
        submission = make_marked(session, assignment, student, R1=Status.MET, R2=Status.MET)
        worse = make_verdict(R1=Status.MET, R2=Status.NOT_MET)
        later = NOON + timedelta(hours=1)
        (marked,) = marked_submissions(session, "day-tank")
        assert (marked.submission_id, marked.score) == (submission.id, 2.0)
        stored = session.get_one(StoredVerdict, submission.id)
        change = [(submission.id, worse, to_json(worse))]
        assert replace_verdicts(session, change, later, may_fall=False) == 1
        assert (stored.score, stored.document) == (2.0, to_json(worse))
        assert replace_verdicts(session, change, later, may_fall=True) == 1
        assert replace_verdicts(session, change, later, may_fall=True) == 0
        assert stored.score == 1.0
        last, first = earlier_verdicts(session, submission.id)
        assert (last.score, first.score, first.replaced_at) == (2.0, 2.0, later)


def test_a_class_counts_by_one_version_and_shares_stay(database: Database) -> None:
    """R2 becomes worth three points: 1 of 2 is kept as 2 of 4, 2 of 2 becomes 4 of 4."""
    with database.write() as session:
        assignment = make_assignment(session, make_section(session), exercise="day-tank")
        points = []
        for second in (Status.NOT_MET, Status.MET):
            submission = make_marked(
                session, assignment, make_user(session), R1=Status.MET, R2=second
            )
            one, two = make_verdict(R1=Status.MET, R2=second).requirements
            heavier = replace(two, score=3 * two.score, max_score=3 * two.max_score)
            verdict = replace(make_verdict(R1=Status.MET), requirements=(one, heavier))
            change = [(submission.id, verdict, to_json(verdict))]
            assert replace_verdicts(session, change, NOON, may_fall=False) == 1
            stored = session.get_one(StoredVerdict, submission.id)
            points.append((stored.score, stored.score_by_cause, stored.max_score))
        assert points == [(2.0, 2.0, 4.0), (4.0, 4.0, 4.0)]


def test_both_partners_are_told_until_each_has_seen_it(database: Database) -> None:
    with database.write() as session:
        one, other, stranger = make_user(session), make_user(session), make_user(session)
        members = ((user, SectionRole.STUDENT) for user in (one, other, stranger))
        section = make_section(session, *members)
        assignment = make_assignment(session, section, exercise="day-tank", in_pairs=True)
        pair_up(session, assignment, one.id, other.id, by_id=one.id, now=NOON)
        submission = make_marked(session, assignment, one, R1=Status.NOT_MET)
        for hours, status in ((1, Status.NOT_EXERCISED), (2, Status.MET)):
            change = make_verdict(R1=status)
            later = NOON + timedelta(hours=hours)
            verdicts = [(submission.id, change, to_json(change))]
            replace_verdicts(session, verdicts, later, may_fall=False)
        for user in (one, other):
            (told,) = unseen_changes(session, user.id)
            assert (told.score, told.submission_id, told.changed_at) == (0.0, submission.id, later)
        assert unseen_changes(session, stranger.id) == []
        mark_seen(session, submission.id, one.id)
        assert unseen_changes(session, one.id) == []
        assert len(unseen_changes(session, other.id)) == 1
