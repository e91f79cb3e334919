"""The keys by which this server signs: kept in the database, published, and changed now and then.

A new key is published a day before it signs, because platforms keep a copy of the key set for a
while, and the old one stays published for a week after, for what it has signed.
"""

from datetime import datetime, timedelta
from typing import Any

from joserfc import jwt
from joserfc.jwk import KeyParameters, KeySet, KeySetSerialization, RSAKey
from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.sealing import SealedElsewhere, seal, unseal
from server.store.database import Document, one_at_a_time
from server.store.lti import ToolKey

PUBLISHED_BEFORE = timedelta(days=1)
PUBLISHED_AFTER = timedelta(days=7)
BITS = 2048
ALGORITHM = "RS256"


class KeyTrouble(Exception):
    """Nothing can be signed; the text says why and how to fix it."""


def all_keys(session: Session) -> list[ToolKey]:
    """Return every key there is, the oldest first; of two made at once, the retired one."""
    keys = session.scalars(select(ToolKey))
    return sorted(keys, key=lambda key: (key.made_at, key.retired_at is None, key.kid))


def signs(key: ToolKey, now: datetime) -> bool:
    """Return whether the key is not retired; of several, the oldest signs."""
    return key.retired_at is None or key.retired_at > now


def signing_key(session: Session, now: datetime) -> ToolKey | None:
    return next((key for key in all_keys(session) if signs(key, now)), None)


def ensure_key(session: Session, secret: str, now: datetime) -> None:
    """Make the first key, if there is none that signs."""
    one_at_a_time(session.connection(), "keys")
    if signing_key(session, now) is None:
        _make(session, secret, now)


def rotate(session: Session, secret: str, now: datetime) -> datetime | None:
    """Publish a new key; when it begins to sign, or None if another one is about to already.

    One that can't be opened any more signs nothing, so the new one takes its place at once.
    """
    one_at_a_time(session.connection(), "keys")
    current = [key for key in all_keys(session) if signs(key, now)]
    if len(current) > 1:
        return None
    gone = ToolKey.retired_at.is_not(None) & (ToolKey.retired_at < now - PUBLISHED_AFTER)
    session.execute(delete(ToolKey).where(gone))
    begins = now + PUBLISHED_BEFORE if current and _opens(current[0], secret) else now
    for key in current:
        key.retired_at = begins
    _make(session, secret, now)
    return begins


def published(session: Session, secret: str, now: datetime) -> KeySetSerialization:
    """Return the key set for platforms (RFC 7517): public parts only.

    A key whose secret is another one is left out: nothing can be signed with it.
    """
    current = [
        key
        for key in all_keys(session)
        if key.retired_at is None or key.retired_at + PUBLISHED_AFTER > now
    ]
    opened = [_opened(key, secret) for key in current if _opens(key, secret)]
    return KeySet(list(opened)).as_dict(private=False)


def sign(session: Session, claims: dict[str, Any], secret: str, now: datetime) -> str:
    """Return a signed token. Raises KeyTrouble."""
    key = signing_key(session, now)
    if key is None:
        raise KeyTrouble("There is no key to sign with. The administrator makes one.")
    return jwt.encode({"alg": ALGORITHM, "kid": key.kid}, claims, _opened(key, secret))


def _make(session: Session, secret: str, now: datetime) -> None:
    made = RSAKey.generate_key(BITS, {"use": "sig", "alg": ALGORITHM}, auto_kid=True)
    kid = str(made.kid)
    kept: Document = dict(made.as_dict(private=True))
    if secret:
        kept = {"jwe": seal(made.as_pem(private=True), kid, secret)}
    session.add(ToolKey(kid=kid, private_key=kept, made_at=now))
    session.flush()


def _opens(key: ToolKey, secret: str) -> bool:
    try:
        _opened(key, secret)
    except KeyTrouble:
        return False
    return True


def _opened(key: ToolKey, secret: str) -> RSAKey:
    names: KeyParameters = {"use": "sig", "alg": ALGORITHM, "kid": key.kid}
    sealed = key.private_key.get("jwe")
    if sealed is None:
        return RSAKey.import_key(key.private_key, names)
    try:
        return RSAKey.import_key(unseal(sealed, key.kid, secret), names)
    except SealedElsewhere as error:
        raise KeyTrouble(
            "The key is kept by another secret. Set RUNGMARK_KEY_SECRET as it was, "
            "or make a new key."
        ) from error
