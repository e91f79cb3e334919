"""Access tokens for a platform's services, kept until shortly before they run out.

OAuth 2.0 client credentials with a signed assertion: 1EdTech Security Framework 1.0, section 4.1
'Using JSON Web Tokens with OAuth 2.0 Client-Credentials Grant', and RFC 7523 (from memory).
"""

import secrets
from collections.abc import Collection
from datetime import datetime, timedelta

from server.remote.http import NotTaken, Outside
from server.remote.own_keys import sign
from server.store.database import Database
from server.store.lti import Platform

ASSERTION_TYPE = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"
ASSERTION_LASTS = timedelta(minutes=5)
SHORTLY = timedelta(seconds=60)


class AccessTokens:
    """The access tokens that this process has got, by platform and scopes."""

    def __init__(self, outside: Outside, database: Database, key_secret: str) -> None:
        self._outside = outside
        self._database = database
        self._key_secret = key_secret
        self._found: dict[tuple[int, str], tuple[str, datetime]] = {}

    def forget(self, platform: Platform, scopes: Collection[str]) -> None:
        """The platform does not take the token any more."""
        self._found.pop((platform.id, " ".join(scopes)), None)

    def get(self, platform: Platform, scopes: Collection[str], now: datetime) -> str:
        """A token for these scopes. Raises NoAnswer, NotTaken and KeyTrouble."""
        wanted = " ".join(scopes)
        kept, until = self._found.get((platform.id, wanted), ("", now))
        if kept and now < until - SHORTLY:
            return kept
        form = {
            "grant_type": "client_credentials",
            "client_assertion_type": ASSERTION_TYPE,
            "client_assertion": self._assertion(platform, now),
            "scope": wanted,
        }
        answer = self._outside.post_form(platform.token_url, platform.hosts, form).data
        granted = answer if isinstance(answer, dict) else {}
        token, lasts = granted.get("access_token"), granted.get("expires_in", 3600)
        if not isinstance(token, str) or not isinstance(lasts, int):
            raise NotTaken(f"There is no access token in the answer of {platform.token_url}.")
        self._found[platform.id, wanted] = token, now + timedelta(seconds=min(lasts, 86400))
        return token

    def _assertion(self, platform: Platform, now: datetime) -> str:
        claims = {
            "iss": platform.client_id,
            "sub": platform.client_id,
            "aud": platform.token_url,
            "iat": int(now.timestamp()),
            "exp": int((now + ASSERTION_LASTS).timestamp()),
            "jti": secrets.token_urlsafe(24),
        }
        with self._database.read() as session:
            return sign(session, claims, self._key_secret, now)
