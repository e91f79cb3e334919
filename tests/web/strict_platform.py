"""A second learning-management system for tests, as different as the standard permits.

Its issuer is no address of a server, its subjects and deployment are long and full of signs, its
audience is a list, its token requests are addressed to another name, its hints are good once, its
storage is a frame beside the tool's. It takes nothing that is not exactly what the standard names:
media types, algorithm, key id, times.
"""

import secrets
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from joserfc import jwt
from joserfc.jwk import OctKey

from tests.web.lti_platform import (
    ASSISTANT,
    INSTRUCTOR,
    LEARNER,
    Person,
    Platform,
)

SIGNS = "urn:larkmoor:person:7Q+/=|~%2F?&"

TEACHER = Person(f"{SIGNS}T", "Ingrid Sollberg", (INSTRUCTOR,), "ingrid@larkmoor.example")
STUDENT = Person(f"{SIGNS}s", "Wanjiru Kamande", (LEARNER,), "wanjiru@larkmoor.example")
CAPITAL = Person(f"{SIGNS}S", "Bo Li", (LEARNER,), "bo@larkmoor.example")
"""Subjects are told apart by case (LTI Core 1.3, 'User identity claims'; from memory)."""


@dataclass
class StrictPlatform(Platform):
    """``hints`` are the messages under way, by a word that is good once.

    With a ``shared_secret`` it signs launches by HMAC instead of by its private key.
    """

    deployment_id: str = "deployment/7|ä".encode("ascii", "replace").decode() + "x" * 200
    hints: dict[str, str] = field(default_factory=dict)
    nonces: set[str] = field(default_factory=set)
    shared_secret: OctKey | None = None
    page_size: int = 1

    def __post_init__(self) -> None:
        self.storage = "platform_storage"
        self.audience = f"{self.issuer}/authorization"
        self.discovery = {"authorization_server": self.audience}
        self.choosing = {"accept_multiple": True, "accept_lineitem": True}

    @property
    def issuer(self) -> str:
        return f"{self.url}/lms"

    def hint(self, message: str) -> str:
        word = secrets.token_urlsafe(16)
        self.hints[word] = message
        return word

    def message(self, hint: str) -> str:
        return self.hints.pop(hint)

    def _claims(self, person: Person, hint: str, nonce: str) -> dict[str, Any]:
        if nonce:
            assert nonce not in self.nonces
            self.nonces.add(nonce)
        claims = super()._claims(person, hint, nonce)
        own = {"https://lms.larkmoor.example/claim/seat": {"row": 3}}
        return claims | own | {"aud": [self.client_id, "another-tool"], "azp": self.client_id}

    def signed(self, claims: dict[str, Any]) -> str:
        if self.shared_secret is None:
            return super().signed(claims)
        header = {"alg": "HS256", "kid": self.keys[0].kid}
        return jwt.encode(header, claims, self.shared_secret)

    def accepts(self, kind: str, asked: str) -> None:
        assert asked == kind

    def describe(self, person: Person) -> dict[str, Any]:
        """Without the status, which then is Active, and with roles as simple names."""
        simple = {LEARNER: "Learner", INSTRUCTOR: "Instructor", ASSISTANT: "Instructor"}
        found = super().describe(person)
        del found["status"]
        return {**found, "roles": [simple[role] for role in person.roles]}

    def opened(self, token: str) -> tuple[dict[str, Any], dict[str, Any]]:
        header, claims = super().opened(token)
        published = {key["kid"] for key in self.tool_keys()["keys"]}
        assert header["alg"] == "RS256"
        assert header["kid"] in published
        assert claims["exp"] - claims["iat"] <= 300
        return header, claims

    def take_score(self, value: dict[str, Any]) -> None:
        assert set(value) <= {
            "userId",
            "timestamp",
            "scoreGiven",
            "scoreMaximum",
            "activityProgress",
            "gradingProgress",
            "submission",
            "comment",
        }
        assert value["userId"] in self.people
        for moment in (value["timestamp"], value.get("submission", {}).get("submittedAt")):
            assert moment is None or "." in moment, "parts of a second"
            assert moment is None or datetime.fromisoformat(moment).tzinfo is not None
        assert isinstance(value.get("comment", ""), str)
