"""Checks of an ID token, the same for launches and for signing in.

OpenID Connect Core 1.0, section 3.1.3.7 (wording looked up in copies of it), and 1EdTech Security
Framework 1.0, section 5.1.3 'Authentication Response Validation' (from memory).
"""

from datetime import datetime
from typing import Any

from joserfc import jws, jwt
from joserfc.errors import (
    ExpiredTokenError,
    InvalidClaimError,
    JoseError,
    MissingClaimError,
)

from server.remote.http import NotTaken
from server.remote.key_sets import KeySets

ALGORITHMS = ["RS256"]
"""What every OpenID provider and LTI platform can do; 'none' and shared secrets are not taken."""

LEEWAY = 60
"""Seconds by which clocks may differ."""

MAX_LENGTH = 100_000

SENTENCES = {
    "iss": "The sign-in comes from another issuer than the one that is registered.",
    "aud": "The sign-in is meant for another tool: its audience is not our client id.",
    "azp": "The sign-in is meant for another tool: its authorized party is not our client id.",
    "exp": "The sign-in has expired. Open the link again.",
    "iat": "The sign-in says that it was made in the future. The clocks have to be set right.",
    "nbf": "The sign-in says that it is good in the future. The clocks have to be set right.",
    "nonce": "The sign-in was used before, or belongs to another one. Open the link again.",
    "sub": "The sign-in does not say who it is for. The other side has to send a subject (sub).",
}


class TokenRefused(Exception):
    """The token is not to be trusted; the text is one sentence that says why."""


def verified_claims(
    token: str,
    key_sets: KeySets,
    keys_url: str,
    hosts: frozenset[str],
    *,
    issuer: str,
    client_id: str,
    nonce: str,
    now: datetime,
) -> dict[str, Any]:
    """Return the claims of a token that holds in every point. Raises TokenRefused and NoAnswer."""
    if len(token) > MAX_LENGTH:
        raise TokenRefused("The sign-in is too long to be one.")
    try:
        header = jws.extract_compact(token.encode()).headers()
    except (JoseError, ValueError) as error:
        raise TokenRefused("The sign-in can't be read: it is no signed token.") from error
    if header.get("alg") not in ALGORITHMS:
        raise TokenRefused(
            "The sign-in is not signed with RS256, the only algorithm that is accepted. "
            "Let the other side sign with RS256."
        )
    try:
        key = key_sets.find(keys_url, hosts, header.get("kid"), now)
        claims = jwt.decode(token, key, algorithms=ALGORITHMS).claims
    except NotTaken as error:
        raise TokenRefused(f"The sign-in can't be checked. {error}") from error
    except (JoseError, ValueError) as error:
        raise TokenRefused("The signature does not fit: it was made with another key.") from error
    _check(claims, issuer, client_id, nonce, now)
    return claims


def _check(claims: dict[str, Any], issuer: str, client_id: str, nonce: str, now: datetime) -> None:
    demanded = jwt.JWTClaimsRegistry(
        now=int(now.timestamp()),
        leeway=LEEWAY,
        iss={"essential": True, "value": issuer},
        aud={"essential": True, "value": client_id},
        exp={"essential": True},
        iat={"essential": True},
        nonce={"essential": True, "value": nonce},
        sub={"essential": True},
    )
    try:
        demanded.validate(claims)
    except MissingClaimError as error:
        lacks = f"The sign-in lacks the claim {error.claim.replace(',', ', ')}."
        raise TokenRefused(SENTENCES["sub"] if error.claim == "sub" else lacks) from error
    except (ExpiredTokenError, InvalidClaimError) as error:
        raise TokenRefused(SENTENCES[error.claim]) from error
    if not isinstance(claims["nonce"], str):
        raise TokenRefused(SENTENCES["nonce"])
    # With several audiences there should be an authorized party, and if there is one, it is us.
    several = not isinstance(claims["aud"], str) and len(claims["aud"]) > 1
    if claims.get("azp", None if several else client_id) != client_id:
        raise TokenRefused(SENTENCES["azp"])
    if not 0 < len(claims["sub"]) <= 255:
        raise TokenRefused(SENTENCES["sub"])
