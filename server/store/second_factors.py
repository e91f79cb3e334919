"""The second factor of a sign-in: codes of an app (TOTP, RFC 6238), and recovery codes."""

import hashlib
import logging
import secrets
import unicodedata
from collections.abc import Sequence
from datetime import datetime

import pyotp
from pyotp.utils import strings_equal
from sqlalchemy import ForeignKey, String, delete, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.sealing import SealedElsewhere, seal, unseal
from server.store.database import Base, Document

RECOVERY_CODES = 10
_SIGNS = "abcdefghjkmnpqrstuvwxyz23456789"
_GROUPS = 6
"""Of four signs: 118 bits, so that a plain hash keeps them (ASVS 5.0, 6.5.2 asks for 112)."""

_STEPS_OFF = 1
"""How many steps of 30 s a telephone's clock may be off, either way (RFC 6238, 5.2)."""

log = logging.getLogger(__name__)


class SecondFactor(Base):
    """The secret that a user's app shares with this server; asked for once it is confirmed.

    ``secret`` is ``{"plain": …}``, or ``{"jwe": …}`` where the settings have a secret to keep it
    by. ``last_step``: the code of this time step was used, and none up to it is taken again.
    """

    __tablename__ = "second_factors"

    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True
    )
    secret: Mapped[Document]
    confirmed_at: Mapped[datetime | None]
    last_step: Mapped[int]


class RecoveryCode(Base):
    """A code that signs in once without the app; here is only its hash."""

    __tablename__ = "recovery_codes"

    code_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)


def has_factor(session: Session, user_id: int) -> bool:
    """Return whether a code is asked for when this user signs in."""
    factor = session.get(SecondFactor, user_id)
    return factor is not None and factor.confirmed_at is not None


def with_factor(session: Session, user_ids: Sequence[int]) -> set[int]:
    """Return those of these users who are asked for a code."""
    return set(
        session.scalars(
            select(SecondFactor.user_id).where(
                SecondFactor.user_id.in_(user_ids), SecondFactor.confirmed_at.is_not(None)
            )
        )
    )


def begin_factor(session: Session, user_id: int, key_secret: str) -> str:
    """Make a new secret for the user's app; it counts once a code of it was shown.

    A factor that is confirmed has to be dropped first.
    """
    assert not has_factor(session, user_id), "the factor in use would be lost"
    drop_factor(session, user_id)
    shared = pyotp.random_base32()
    kept: Document = {"plain": shared}
    if key_secret:
        kept = {"jwe": seal(shared.encode(), _name(user_id), key_secret)}
    session.add(SecondFactor(user_id=user_id, secret=kept, confirmed_at=None, last_step=0))
    session.flush()
    return shared


def pending_secret(session: Session, user_id: int, key_secret: str) -> str | None:
    """Return the secret that waits for its first code; None if there is none that can be read."""
    factor = session.get(SecondFactor, user_id)
    if factor is None or factor.confirmed_at is not None:
        return None
    return _shared(factor, key_secret)


def confirm_factor(
    session: Session, user_id: int, code: str, now: datetime, key_secret: str
) -> list[str] | None:
    """Ask for codes from now on, if this one is right; return the recovery codes, shown once."""
    factor = session.get(SecondFactor, user_id, with_for_update=True)
    if factor is None or factor.confirmed_at is not None:
        return None
    if not _is_code(factor, code, now, key_secret):
        return None
    factor.confirmed_at = now
    return new_recovery_codes(session, user_id)


def check_code(session: Session, user_id: int, code: str, now: datetime, key_secret: str) -> bool:
    """Return whether this is the app's code of now or a recovery code; either is used up by it."""
    factor = session.get(SecondFactor, user_id, with_for_update=True)
    if factor is None or factor.confirmed_at is None:
        return False
    if _is_code(factor, code, now, key_secret):
        return True
    used = session.execute(
        delete(RecoveryCode)
        .where(RecoveryCode.user_id == user_id, RecoveryCode.code_hash == _hashed(code))
        .returning(RecoveryCode.user_id)
    )
    return used.first() is not None


def new_recovery_codes(session: Session, user_id: int) -> list[str]:
    """Recovery codes in place of those before."""
    session.execute(delete(RecoveryCode).where(RecoveryCode.user_id == user_id))
    codes = [
        "-".join("".join(secrets.choice(_SIGNS) for _ in range(4)) for _ in range(_GROUPS))
        for _ in range(RECOVERY_CODES)
    ]
    session.add_all(RecoveryCode(code_hash=_hashed(code), user_id=user_id) for code in codes)
    session.flush()
    return codes


def recovery_codes_left(session: Session, user_id: int) -> int:
    counted = select(func.count()).where(RecoveryCode.user_id == user_id)
    return session.scalar(counted) or 0


def drop_factor(session: Session, user_id: int) -> None:
    """Ask for no codes any more."""
    session.execute(delete(RecoveryCode).where(RecoveryCode.user_id == user_id))
    factor = session.get(SecondFactor, user_id)
    if factor is not None:
        session.delete(factor)
        session.flush()


def _is_code(factor: SecondFactor, code: str, now: datetime, key_secret: str) -> bool:
    shared = _shared(factor, key_secret)
    if shared is None:
        return False
    totp = pyotp.TOTP(shared)
    step = totp.timecode(now)
    for each in range(step - _STEPS_OFF, step + _STEPS_OFF + 1):
        if each > factor.last_step and strings_equal(_plain(code), totp.generate_otp(each)):
            factor.last_step = each
            return True
    return False


def _shared(factor: SecondFactor, key_secret: str) -> str | None:
    sealed = factor.secret.get("jwe")
    if sealed is None:
        return str(factor.secret["plain"])
    try:
        return unseal(sealed, _name(factor.user_id), key_secret).decode()
    except SealedElsewhere:
        log.error("a second factor was sealed with another RUNGMARK_KEY_SECRET than today's")
        return None


def _name(user_id: int) -> str:
    return f"second factor {user_id}"


def _plain(code: str) -> str:
    """Return a code as it is compared: without the spaces and dashes that make it readable."""
    folded = unicodedata.normalize("NFKC", code).casefold()
    return "".join(sign for sign in folded if sign.isalnum())


def _hashed(code: str) -> str:
    return hashlib.sha256(_plain(code).encode()).hexdigest()
