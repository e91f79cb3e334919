"""An OpenID Connect provider for tests: a real HTTP server on loopback."""

import hashlib
import secrets
import socket
from base64 import b64decode, urlsafe_b64encode
from collections.abc import Callable
from datetime import datetime
from threading import Thread
from typing import Annotated, Any
from urllib.parse import parse_qsl, unquote_plus, urlencode, urlsplit

import uvicorn
from fastapi import FastAPI, Form, Header, HTTPException
from joserfc import jwt
from joserfc.jwk import KeySet

from tests.web.launches import platform_key

CLIENT, SECRET = "rungmark", "between us: 50 %"


class Provider:
    """Written from OpenID Connect Core 1.0 and RFC 7636, from memory; as strict as they permit."""

    def __init__(self, clock: Callable[[], datetime], site: str) -> None:
        self.clock = clock
        self.back = f"{site}/sign-in/openid/back"
        self.subject = "somebody"
        self.email = ""
        self.verified: object = True
        self.thin = False
        self.info: dict[str, Any] = {}
        self.methods: list[str] | None = None
        self.signs_out = True
        self.bend: Callable[[dict[str, Any]], None] = lambda claims: None
        self.signing = platform_key()
        self.codes: dict[str, dict[str, str]] = {}
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self.listening.getsockname()[1]}"
        self.server = uvicorn.Server(uvicorn.Config(self.app(), log_level="error"))
        self.thread = Thread(target=self.server.run, kwargs={"sockets": [self.listening]})
        self.thread.start()

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join()
        self.listening.close()

    def signed_in(self, address: str) -> str:
        """Where the browser is sent once the person has signed in at the authorization page."""
        asked = dict(parse_qsl(urlsplit(address).query))
        assert address.startswith(f"{self.url}/authorize?")
        assert asked["response_type"] == "code"
        assert "openid" in asked["scope"].split()
        assert asked["client_id"] == CLIENT
        assert asked["redirect_uri"] == self.back
        assert asked["code_challenge_method"] == "S256"
        code = secrets.token_urlsafe(8)
        self.codes[code] = asked
        return f"{self.back}?{urlencode({'code': code, 'state': asked['state']})}"

    def app(self) -> FastAPI:
        app = FastAPI()

        @app.get("/.well-known/openid-configuration")
        def described() -> dict[str, Any]:
            found = {
                "issuer": self.url,
                "authorization_endpoint": f"{self.url}/authorize",
                "token_endpoint": f"{self.url}/token",
                "jwks_uri": f"{self.url}/keys",
                "userinfo_endpoint": f"{self.url}/userinfo",
            }
            if self.signs_out:
                found["end_session_endpoint"] = f"{self.url}/end"
            methods = {"token_endpoint_auth_methods_supported": self.methods}
            return found | (methods if self.methods is not None else {})

        @app.get("/keys")
        def keys() -> Any:
            return KeySet([platform_key()]).as_dict(private=False)

        @app.post("/token")
        def token(
            grant_type: Annotated[str, Form()],
            code: Annotated[str, Form()],
            redirect_uri: Annotated[str, Form()],
            code_verifier: Annotated[str, Form()],
            client_id: Annotated[str, Form()] = "",
            client_secret: Annotated[str, Form()] = "",
            authorization: Annotated[str, Header()] = "",
        ) -> dict[str, str]:
            if self.methods == ["client_secret_post"]:
                sent = client_id, client_secret
            else:
                # Each half is encoded as in a form (RFC 6749, section 2.3.1; from memory).
                pair = b64decode(authorization.removeprefix("Basic ")).decode()
                name, _, secret = pair.partition(":")
                sent = unquote_plus(name), unquote_plus(secret)
                assert not client_secret
            asked = self.codes.pop(code, None)
            digest = hashlib.sha256(code_verifier.encode()).digest()
            challenge = urlsafe_b64encode(digest).decode().rstrip("=")
            if (
                asked is None
                or grant_type != "authorization_code"
                or redirect_uri != asked["redirect_uri"]
                or sent != (CLIENT, SECRET)
                or challenge != asked["code_challenge"]
            ):
                raise HTTPException(400)
            now = int(self.clock().timestamp())
            claims = {
                "iss": self.url,
                "sub": self.subject,
                "aud": CLIENT,
                "iat": now,
                "exp": now + 300,
                "nonce": asked["nonce"],
            }
            if not self.thin:
                claims |= {"email": self.email, "email_verified": self.verified}
            self.bend(claims)
            header = {"alg": "RS256", "kid": platform_key().kid}
            made = jwt.encode(header, claims, self.signing)
            return {"access_token": "opens-info", "token_type": "Bearer", "id_token": made}

        @app.get("/userinfo")
        def user_info(authorization: Annotated[str, Header()]) -> dict[str, Any]:
            assert authorization == "Bearer opens-info"
            known = {"sub": self.subject, "email": self.email, "email_verified": self.verified}
            return known | self.info

        return app
