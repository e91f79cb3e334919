"""Access tokens for a platform's services, kept until shortly before they run out.

OAuth 2.0 client credentials with a signed assertion: 1EdTech Security Framework 1.0, section 4.1
'Using JSON Web Tokens with OAuth 2.0 Client-Credentials Grant', and RFC 7523 (from memory).
"""

import secrets
from collections.abc import Collection
from datetime import datetime, timedelta

from server.remote.claims import CLAIM
from server.remote.http import NotTaken, Outside
from server.remote.own_keys import sign
from server.store.database import Database
from server.store.lti import LtiContext

ASSERTION_TYPE = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"
ASSERTION_LASTS = timedelta(minutes=5)
SHORTLY = timedelta(seconds=60)
USUALLY = timedelta(hours=1)
"""How long a token is taken to be good whose platform does not say (common practice, no source)."""


class AccessTokens:
    """The access tokens that this process has got, by deployment and scopes."""

    def __init__(self, outside: Outside, database: Database, key_secret: str) -> None:
        self._outside = outside
        self._database = database
        self._key_secret = key_secret
        self._found: dict[tuple[int, str, str], tuple[str, datetime]] = {}

    def forget(self, course: LtiContext, scopes: Collection[str]) -> None:
        """Forget a token that the platform does not take any more."""
        self._found.pop(_key(course, scopes), None)

    def get(self, course: LtiContext, scopes: Collection[str], now: datetime) -> str:
        """Return a token for these scopes. Raises NoAnswer, NotTaken and KeyTrouble."""
        platform, wanted, key = course.platform, " ".join(scopes), _key(course, scopes)
        kept, until = self._found.get(key, ("", now))
        if kept and now < until - SHORTLY:
            return kept
        form = {
            "grant_type": "client_credentials",
            "client_assertion_type": ASSERTION_TYPE,
            "client_assertion": self._assertion(course, now),
            "scope": wanted,
        }
        try:
            answer = self._outside.post_form(platform.token_url, platform.hosts, form).data
        except NotTaken as trouble:
            if not trouble.status:
                raise
            # What went wrong is the sign-in, not what was to be sent with its token.
            raise NotTaken(
                f"The LMS gives us no access token ({trouble.status}). The administrators compare "
                "client id, key set address and audience, and what the LMS grants."
            ) from trouble
        granted = answer if isinstance(answer, dict) else {}
        token = granted.get("access_token")
        if not isinstance(token, str):
            raise NotTaken(f"There is no access token in the answer of {platform.token_url}.")
        # Without a word, it is what was asked for (RFC 6749, section 5.1; from memory).
        given = granted.get("scope", wanted)
        if isinstance(given, str) and not set(scopes) <= set(given.split()):
            raise NotTaken(
                "The LMS does not grant us this service. Its administrator grants names and roles "
                "and grades to this tool."
            )
        self._found[key] = token, now + _lasts(granted.get("expires_in"))
        return token

    def _assertion(self, course: LtiContext, now: datetime) -> str:
        platform = course.platform
        claims = {
            "iss": platform.client_id,
            "sub": platform.client_id,
            "aud": platform.token_audience or platform.token_url,
            "iat": int(now.timestamp()),
            "exp": int((now + ASSERTION_LASTS).timestamp()),
            "jti": secrets.token_urlsafe(24),
            # For platforms that grant by deployment (LTI Core 1.3, 6.2.1).
            f"{CLAIM}deployment_id": course.deployment_id,
        }
        with self._database.read() as session:
            return sign(session, claims, self._key_secret, now)


def _key(course: LtiContext, scopes: Collection[str]) -> tuple[int, str, str]:
    return course.platform_id, course.deployment_id, " ".join(scopes)


def _lasts(said: object) -> timedelta:
    """Return how long a token is good; platforms say it as a number, as text, or not at all."""
    text = str(said)
    return timedelta(seconds=min(int(text), 86400)) if text.isdecimal() else USUALLY
