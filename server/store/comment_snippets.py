"""Comments that a teacher writes again and again, kept for themselves."""

from sqlalchemy import ForeignKey, String, delete, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.corrections import MAX_COMMENT
from server.store.database import Base

MOST = 100


class CommentSnippet(Base):
    """A text that its owner puts into comments."""

    __tablename__ = "comment_snippets"

    id: Mapped[int] = mapped_column(primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    text: Mapped[str] = mapped_column(String(MAX_COMMENT))


def snippets_of(session: Session, user_id: int) -> list[CommentSnippet]:
    """Return somebody's snippets by their text."""
    query = select(CommentSnippet).where(CommentSnippet.user_id == user_id)
    return list(session.scalars(query.order_by(CommentSnippet.text, CommentSnippet.id)))


def add_snippet(session: Session, user_id: int, text: str) -> None:
    """Keep a snippet; one that is there already, or one too many, is not kept."""
    own = snippets_of(session, user_id)
    if len(own) < MOST and text not in {each.text for each in own}:
        session.add(CommentSnippet(user_id=user_id, text=text))
        session.flush()


def remove_snippet(session: Session, user_id: int, snippet_id: int) -> None:
    """Delete a snippet of this person; nobody else's."""
    session.execute(
        delete(CommentSnippet).where(
            CommentSnippet.id == snippet_id, CommentSnippet.user_id == user_id
        )
    )
