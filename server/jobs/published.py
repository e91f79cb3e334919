"""The texts of exercises that instructors wrote, as the catalogue and the checker read them."""

from collections.abc import Callable

from server.marking.files.catalogue import SANDBOX_PREFIX
from server.marking.files.drafts import Draft
from server.store.authored import AuthoredExercise, authored_named, newest_version
from server.store.database import Database


def published_in(database: Database) -> Callable[[str], Draft | None]:
    """Return what finds the texts behind a name under which an exercise is set.

    A sandbox has the draft itself.
    """

    def find(slug: str) -> Draft | None:
        with database.read() as session:
            if slug.startswith(SANDBOX_PREFIX):
                row = authored_named(session, slug.removeprefix(SANDBOX_PREFIX))
                return draft_of(row) if row else None
            version = newest_version(session, slug)
            return Draft(slug, version.text, dict(version.programs)) if version else None

    return find


def draft_of(row: AuthoredExercise) -> Draft:
    return Draft(row.slug, row.text, dict(row.programs))
