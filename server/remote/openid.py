"""Signing in by an OpenID Connect provider: authorization code flow with PKCE.

OpenID Connect Core 1.0, section 3.1, OpenID Connect Discovery 1.0, section 4, and RFC 7636 (from
memory).
"""

import hashlib
import secrets
from base64 import urlsafe_b64encode
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlencode, urlsplit

from pydantic import BaseModel, ValidationError

from server.remote.http import NotTaken, Outside, host_of
from server.remote.id_token import TokenRefused, verified_claims
from server.remote.key_sets import KeySets
from server.settings import OpenIdProvider

SCOPES = "openid email"


class _Provider(BaseModel):
    """What a provider publishes of itself."""

    issuer: str
    authorization_endpoint: str
    token_endpoint: str
    jwks_uri: str

    @property
    def hosts(self) -> frozenset[str]:
        """The hosts that the configured issuer names for itself."""
        named = (self.issuer, self.token_endpoint, self.jwks_uri)
        return frozenset(host_of(address) for address in named)


@dataclass(frozen=True, slots=True)
class Secrets:
    """What the browser keeps of a sign-in that has begun."""

    state: str
    nonce: str
    verifier: str


def new_secrets() -> Secrets:
    return Secrets(*(secrets.token_urlsafe(32) for _ in range(3)))


class OpenId:
    """One provider."""

    def __init__(self, outside: Outside, key_sets: KeySets, provider: OpenIdProvider) -> None:
        self._outside = outside
        self._key_sets = key_sets
        self._provider = provider
        self._found: _Provider | None = None

    def begin(self, kept: Secrets, back: str) -> str:
        """The provider's address that the browser goes to. Raises NoAnswer and NotTaken."""
        digest = hashlib.sha256(kept.verifier.encode()).digest()
        asked = {
            "response_type": "code",
            "scope": SCOPES,
            "client_id": self._provider.client_id,
            "redirect_uri": back,
            "state": kept.state,
            "nonce": kept.nonce,
            "code_challenge": urlsafe_b64encode(digest).decode().rstrip("="),
            "code_challenge_method": "S256",
        }
        address = self._described().authorization_endpoint
        return f"{address}{'&' if urlsplit(address).query else '?'}{urlencode(asked)}"

    def email(self, code: str, kept: Secrets, back: str, now: datetime) -> str:
        """The address that the provider has verified.

        Raises NoAnswer, NotTaken and TokenRefused.
        """
        described = self._described()
        form = {
            "grant_type": "authorization_code",
            "code": code,
            "redirect_uri": back,
            "client_id": self._provider.client_id,
            "code_verifier": kept.verifier,
        }
        if self._provider.client_secret:
            form["client_secret"] = self._provider.client_secret
        answer = self._outside.post_form(described.token_endpoint, described.hosts, form).data
        token = answer.get("id_token") if isinstance(answer, dict) else None
        if not isinstance(token, str):
            raise TokenRefused("The provider sent no identity.")
        claims = verified_claims(
            token,
            self._key_sets,
            described.jwks_uri,
            described.hosts,
            issuer=self._provider.issuer,
            client_id=self._provider.client_id,
            nonce=kept.nonce,
            now=now,
        )
        email = claims.get("email")
        if claims.get("email_verified") is not True or not isinstance(email, str):
            raise TokenRefused("The provider has not verified your email address.")
        return email

    def _described(self) -> _Provider:
        if self._found is None:
            issuer = self._provider.issuer
            address = f"{issuer.rstrip('/')}/.well-known/openid-configuration"
            data = self._outside.get(address, {host_of(issuer)}).data
            try:
                found = _Provider.model_validate(data)
            except ValidationError as error:
                raise NotTaken(f"{address} does not describe an OpenID provider.") from error
            if found.issuer != issuer:
                raise NotTaken(f"{address} describes another issuer.")
            self._found = found
        return self._found
