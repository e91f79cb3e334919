"""Signing in by an OpenID Connect provider: authorization code flow with PKCE.

OpenID Connect Core 1.0, sections 3.1, 5.3 and 9; OpenID Connect Discovery 1.0, section 4;
OpenID Connect RP-Initiated Logout 1.0, section 2; RFC 6749, section 2.3.1; RFC 7636 (all from
memory).
"""

import hashlib
import secrets
from base64 import b64encode, urlsafe_b64encode
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import quote_plus, urlencode, urlsplit

from pydantic import BaseModel, ValidationError

from server.remote.http import NotTaken, Outside, host_of, is_permitted
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
    userinfo_endpoint: str | None = None
    end_session_endpoint: str | None = None
    # Left out, it is this one (Discovery 1.0, section 3).
    token_endpoint_auth_methods_supported: list[str] = ["client_secret_basic"]

    @property
    def hosts(self) -> frozenset[str]:
        """The hosts that the configured issuer names for itself."""
        named = (self.issuer, self.token_endpoint, self.jwks_uri, self.userinfo_endpoint or "")
        return frozenset(host_of(address) for address in named) - {""}

    @property
    def takes_secret_in_form(self) -> bool:
        """Whether the client's secret goes into the form and not into the header."""
        methods = self.token_endpoint_auth_methods_supported
        return "client_secret_post" in methods and "client_secret_basic" not in methods


@dataclass(frozen=True, slots=True)
class Secrets:
    """What the browser keeps of a sign-in that has begun."""

    state: str
    nonce: str
    verifier: str


@dataclass(frozen=True, slots=True)
class Identity:
    """Who has signed in at the provider, with what else it may be asked about them."""

    issuer: str
    subject: str
    claims: dict[str, Any]
    id_token: str
    access_token: str


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
        """Return the provider's address that the browser goes to. Raises NoAnswer and NotTaken."""
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
        return _with_query(self._described().authorization_endpoint, asked)

    def identity(self, code: str, kept: Secrets, back: str, now: datetime) -> Identity:
        """Return who the provider says has signed in.

        Raises NoAnswer, NotTaken and TokenRefused.
        """
        described = self._described()
        form = {
            "grant_type": "authorization_code",
            "code": code,
            "redirect_uri": back,
            "code_verifier": kept.verifier,
        }
        headers = {}
        client, secret = self._provider.client_id, self._provider.client_secret
        if not secret:
            form["client_id"] = client
        elif described.takes_secret_in_form:
            form |= {"client_id": client, "client_secret": secret}
        else:
            pair = f"{quote_plus(client)}:{quote_plus(secret)}"
            headers["Authorization"] = f"Basic {b64encode(pair.encode()).decode()}"
        address, hosts = described.token_endpoint, described.hosts
        answer = self._outside.post_form(address, hosts, form, headers).data
        granted = answer if isinstance(answer, dict) else {}
        token, access = granted.get("id_token"), granted.get("access_token")
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
        return Identity(
            issuer=self._provider.issuer,
            subject=claims["sub"],
            claims=claims,
            id_token=token,
            access_token=access if isinstance(access, str) else "",
        )

    def verified_email(self, identity: Identity) -> str:
        """Return the address that the provider has verified; UserInfo tells what the token lacks.

        Raises NoAnswer, NotTaken and TokenRefused.
        """
        claims = identity.claims
        if "email" not in claims or "email_verified" not in claims:
            # Address and proof from one source: the two could be of different addresses.
            claims = self._user_info(identity)
        email = claims.get("email")
        if claims.get("email_verified") is not True or not isinstance(email, str):
            raise TokenRefused("The provider has not verified your email address.")
        return email

    def end_session(self, id_token: str, back: str) -> str | None:
        """Return where the browser signs out of the provider, None if it offers no such address.

        It asks nobody: who has signed in by the provider has made us look at its description.
        """
        address = self._found.end_session_endpoint if self._found else None
        if address is None or not is_permitted(address):
            return None
        asked = {"client_id": self._provider.client_id, "post_logout_redirect_uri": back}
        if id_token:
            asked["id_token_hint"] = id_token
        return _with_query(address, asked)

    def _user_info(self, identity: Identity) -> dict[str, Any]:
        described = self._described()
        if described.userinfo_endpoint is None or not identity.access_token:
            return {}
        headers = {"Authorization": f"Bearer {identity.access_token}"}
        address, hosts = described.userinfo_endpoint, described.hosts
        found = self._outside.get(address, hosts, headers).data
        # The answer may be about somebody else (Core 1.0, section 5.3.2).
        if not isinstance(found, dict) or found.get("sub") != identity.subject:
            raise TokenRefused(
                "The provider's answer about you is about another person (its sub differs). "
                "Begin again; if it stays so, tell an administrator."
            )
        return found

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


def _with_query(address: str, asked: dict[str, str]) -> str:
    return f"{address}{'&' if urlsplit(address).query else '?'}{urlencode(asked)}"
