"""A learning-management system for tests: a real HTTP server on loopback, written from LTI 1.3.

It has one course with people, links, line items and scores, and is as strict as the standard lets
a platform be. What it says in a launch can be bent by a test. Names of claims, scopes and media
types were looked up in published examples; rules are from memory.
"""

import secrets
import socket
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from html import escape
from threading import Thread
from typing import Annotated, Any
from urllib.parse import parse_qsl, urlencode

import uvicorn
from fastapi import Depends, FastAPI, Form, Header, HTTPException, Request
from joserfc import jwt
from joserfc.jwk import KeySet, RSAKey
from starlette.responses import HTMLResponse, JSONResponse, Response

CLAIM = "https://purl.imsglobal.org/spec/lti/claim/"
AGS = "https://purl.imsglobal.org/spec/lti-ags"
NRPS = "https://purl.imsglobal.org/spec/lti-nrps"
CHOOSING = "https://purl.imsglobal.org/spec/lti-dl/claim/"
MEMBERSHIP = "http://purl.imsglobal.org/vocab/lis/v2/membership"

LEARNER = f"{MEMBERSHIP}#Learner"
INSTRUCTOR = f"{MEMBERSHIP}#Instructor"
ASSISTANT = f"{MEMBERSHIP}/Instructor#TeachingAssistant"
OBSERVER = f"{MEMBERSHIP}#Mentor"
ADMINISTRATOR = f"{MEMBERSHIP}#Administrator"
TEST_USER = "http://purl.imsglobal.org/vocab/lti/system/person#TestUser"

COURSE = "aut-131-fall"

SETTINGS = f"{CHOOSING}deep_linking_settings"

STORING = """<script>
const kept = {};
addEventListener("message", ({ data, origin, source }) => {
  const { subject, message_id, key } = data;
  const answer = { subject: `${subject}.response`, message_id, key };
  kept[origin] ??= {};
  if (data.subject === "lti.put_data") kept[origin][data.key] = data.value;
  answer.value = kept[origin][data.key];
  source.postMessage(answer, origin);
});
</script>"""
"""Stores by the origin that asks (LTI postMessage Storage 0.1; from memory)."""


@dataclass(frozen=True)
class Person:
    """Somebody in the course."""

    subject: str
    name: str
    roles: tuple[str, ...] = (LEARNER,)
    email: str = ""
    status: str = "Active"


@dataclass
class Column:
    """A line item; scores by subject, each with its timestamp."""

    label: str
    most: float
    resource_id: str = ""
    tag: str = ""
    link: str = ""
    scores: dict[str, dict[str, Any]] = field(default_factory=dict)
    posts: int = 0


@dataclass
class Platform:
    """``tool_keys`` gives the tool's key set, ``clock`` the time; both sides have the same one."""

    clock: Callable[[], datetime]
    tool: str
    tool_keys: Callable[[], Any]
    host: str = "127.0.0.1"
    client_id: str = "rungmark-at-larkmoor"
    deployment_id: str = "deployment-1"
    people: dict[str, Person] = field(default_factory=dict)
    links: dict[str, dict[str, Any]] = field(default_factory=dict)
    columns: list[Column] = field(default_factory=list)
    grades_by_itself: bool = True
    offers_members: bool = True
    page_size: int = 2
    bend: Callable[[dict[str, Any]], None] = lambda claims: None
    signing: RSAKey | None = None
    names_key: bool = True
    audience: str = ""
    grants: Callable[[set[str]], set[str]] = lambda scopes: scopes
    token_answer: dict[str, Any] = field(default_factory=lambda: {"expires_in": 3600})
    token_status: int | None = None
    keys: list[RSAKey] = field(default_factory=list)
    tokens: dict[str, set[str]] = field(default_factory=dict)
    token_requests: int = 0
    key_requests: int = 0
    missed: int = 0
    assertions: set[str] = field(default_factory=set)
    answer_with: int | None = None
    chosen: list[dict[str, Any]] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)
    choosing: dict[str, Any] = field(default_factory=dict)
    storage: str = ""
    discovery: dict[str, Any] = field(default_factory=dict)
    registered: list[dict[str, Any]] = field(default_factory=list)
    registration_token: str = "for-registering-once"
    gives_deployment: bool = True
    port: int = 0

    @property
    def url(self) -> str:
        return f"http://{self.host}:{self.port}"

    @property
    def issuer(self) -> str:
        return self.url

    @property
    def login(self) -> str:
        """Where the tool wants to be asked to begin."""
        return self.tool.replace("/lti/launch", "/lti/login")

    @property
    def choosing_tool(self) -> str:
        """Where the tool wants to be led to for choosing."""
        return self.tool.replace("/lti/launch", "/lti/choose")

    def add_link(self, id: str, title: str, **custom: str) -> None:
        """A link of the course; with ``grades_by_itself`` it gets a line item."""
        self.links[id] = {"title": title, "custom": custom}
        if self.grades_by_itself:
            self.columns.append(Column(title, 10.0, link=id))

    def initiation(self, person: Person, link: str | None) -> dict[str, str]:
        """Third-party initiated login; ``link`` None is a choice of content."""
        return {
            "iss": self.issuer,
            "client_id": self.client_id,
            "login_hint": person.subject,
            "lti_message_hint": self.hint(link or "choose"),
            "lti_deployment_id": self.deployment_id,
            "target_link_uri": self.tool if link else self.choosing_tool,
            **({"lti_storage_target": self.storage} if self.storage else {}),
        }

    def hint(self, message: str) -> str:
        """What the tool hands back at the authentication request."""
        return message

    def message(self, hint: str) -> str:
        """The link that a hint stands for, or ``choose``."""
        return hint

    def accepts(self, kind: str, asked: str) -> None:
        """A stricter platform looks at the header Accept."""

    def describe(self, person: Person) -> dict[str, Any]:
        """Somebody in the list of members."""
        return {
            "user_id": person.subject,
            "name": person.name,
            "roles": list(person.roles),
            "status": person.status,
            **({"email": person.email} if person.email else {}),
        }

    def id_token(self, asked: dict[str, str]) -> str:
        person = self.people[asked["login_hint"]]
        claims = self._claims(person, self.message(asked["lti_message_hint"]), asked["nonce"])
        self.bend(claims)
        return self.signed(claims)

    def signed(self, claims: dict[str, Any]) -> str:
        header = {"alg": "RS256"} | ({"kid": self.keys[0].kid} if self.names_key else {})
        return jwt.encode(header, claims, self.signing or self.keys[0])

    def _claims(self, person: Person, hint: str, nonce: str) -> dict[str, Any]:
        now = int(self.clock().timestamp())
        given, _, family = person.name.rpartition(" ")
        claims: dict[str, Any] = {
            "iss": self.issuer,
            "aud": self.client_id,
            "sub": person.subject,
            "iat": now,
            "exp": now + 300,
            "nonce": nonce,
            "name": person.name,
            "given_name": given,
            "family_name": family,
            f"{CLAIM}version": "1.3.0",
            f"{CLAIM}deployment_id": self.deployment_id,
            f"{CLAIM}target_link_uri": self.choosing_tool if hint == "choose" else self.tool,
            f"{CLAIM}launch_presentation": {"return_url": f"{self.url}/back?course={COURSE}"},
            f"{CLAIM}roles": list(person.roles),
            f"{CLAIM}context": {"id": COURSE, "title": "Control logic, fall"},
        }
        if person.email:
            claims["email"] = person.email
        if self.offers_members:
            claims[f"{NRPS}/claim/namesroleservice"] = {
                "context_memberships_url": f"{self.url}/members",
                "service_versions": ["2.0"],
            }
        if hint == "choose":
            claims[f"{CLAIM}message_type"] = "LtiDeepLinkingRequest"
            claims[SETTINGS] = {
                "deep_link_return_url": f"{self.url}/return",
                "accept_types": ["ltiResourceLink"],
                "accept_presentation_document_targets": ["window"],
                "data": "opaque to the tool",
                **self.choosing,
            }
            return claims
        link = self.links[hint]
        claims[f"{CLAIM}message_type"] = "LtiResourceLinkRequest"
        claims[f"{CLAIM}resource_link"] = {"id": hint, "title": link["title"]}
        claims[f"{CLAIM}custom"] = link["custom"]
        endpoint: dict[str, Any] = {
            "scope": [f"{AGS}/scope/lineitem", f"{AGS}/scope/score"],
            "lineitems": f"{self.url}/lineitems?course={COURSE}",
        }
        own = [n for n, column in enumerate(self.columns) if column.link == hint]
        if len(own) == 1:
            endpoint["lineitem"] = f"{self.url}/lineitems/{own[0]}?course={COURSE}"
        claims[f"{AGS}/claim/endpoint"] = endpoint
        return claims

    def opened(self, token: str) -> tuple[dict[str, Any], dict[str, Any]]:
        """Header and claims of what the tool has signed."""
        found = KeySet.import_key_set(self.tool_keys())
        read = jwt.decode(token, found, algorithms=["RS256"])
        return read.header, read.claims

    def take_assertion(self, header: dict[str, Any], claims: dict[str, Any]) -> None:
        """Security Framework 1.0, 4.1.1; RFC 7523, section 3 (from memory)."""
        now = self.clock().timestamp()
        assert claims["iss"] == claims["sub"] == self.client_id
        assert claims["aud"] == (self.audience or f"{self.url}/token")
        assert claims["iat"] <= now < claims["exp"]
        assert claims["jti"] not in self.assertions
        assert claims[f"{CLAIM}deployment_id"] == self.deployment_id
        self.assertions.add(claims["jti"])

    def take_score(self, value: dict[str, Any]) -> None:
        """A stricter platform looks closer."""

    def take_response(self, header: dict[str, Any], claims: dict[str, Any]) -> None:
        """Deep Linking 2.0, 'Deep linking response message' (from memory): chosen links appear."""
        now = self.clock().timestamp()
        settings = self._claims(next(iter(self.people.values())), "choose", "")[SETTINGS]
        items = claims.get(f"{CHOOSING}content_items", [])
        assert claims["iss"] == self.client_id
        assert claims["aud"] == self.issuer
        assert claims["iat"] <= now < claims["exp"]
        assert claims["nonce"]
        assert claims[f"{CLAIM}deployment_id"] == self.deployment_id
        assert claims[f"{CLAIM}message_type"] == "LtiDeepLinkingResponse"
        assert claims[f"{CLAIM}version"] == "1.3.0"
        assert claims[f"{CHOOSING}data"] == settings["data"]
        assert len(items) <= 1 or settings["accept_multiple"]
        self.messages += [claims.get(f"{CHOOSING}{name}", "") for name in ("msg", "errormsg")]
        for item in items:
            assert item["type"] in settings["accept_types"]
            assert item["url"] == self.tool
            assert item["submission"]["startDateTime"] < item["submission"]["endDateTime"]
            targets = settings["accept_presentation_document_targets"]
            assert ("window" in item) == ("window" in targets)
            self.chosen.append(item)
            id = f"chosen-{len(self.chosen)}"
            self.links[id] = {"title": item["title"], "custom": item["custom"]}
            if wanted := item.get("lineItem"):
                label, most = wanted["label"], wanted["scoreMaximum"]
                self.columns.append(Column(label, most, wanted["resourceId"], link=id))


class Server:
    """Answers as the platform that a test has put here."""

    def __init__(self) -> None:
        self.port = 0
        self.platform: Platform | None = None

    def start(self) -> None:
        """Answer; on the same port as before, if it has been stopped."""
        self._listening = socket.create_server(("127.0.0.1", self.port))
        self.port = self._listening.getsockname()[1]
        self._server = uvicorn.Server(uvicorn.Config(_app(self), log_level="error"))
        self._thread = Thread(target=self._server.run, kwargs={"sockets": [self._listening]})
        self._thread.start()

    def stop(self) -> None:
        """Nothing listens any more: connections are refused."""
        self._server.should_exit = True
        self._thread.join()
        self._listening.close()


INSTALLING = """<h1>Installing</h1><script>
addEventListener("message", ({ data }) => {
  if (data.subject !== "org.imsglobal.lti.close") return;
  document.querySelector("h1").textContent = "Installed";
  document.querySelector("iframe").remove();
});
</script>"""


def _app(server: Server) -> FastAPI:
    app = FastAPI()

    def here() -> Platform:
        assert server.platform is not None
        return server.platform

    Here = Annotated[Platform, Depends(here)]  # noqa: N806

    def authorized(platform: Platform, authorization: str, scope: str) -> None:
        if platform.answer_with is not None:
            raise HTTPException(platform.answer_with)
        token = authorization.removeprefix("Bearer ")
        if scope not in platform.tokens.get(token, set()):
            raise HTTPException(401)

    @app.get("/course/{subject:path}")
    def course(platform: Here, subject: str) -> Response:
        """The course's page: a link for each resource link."""
        person = platform.people[subject]
        rows = []
        for id, link in platform.links.items():
            fields = platform.initiation(person, None if id == "choose" else id)
            hidden = "".join(
                f'<input type="hidden" name="{name}" value="{escape(value)}">'
                for name, value in fields.items()
            )
            rows.append(
                f'<form action="{platform.login}">{hidden}<button>{link["title"]}</button></form>'
            )
        return HTMLResponse(f"<!doctype html><title>Course</title>{''.join(rows)}")

    @app.get("/framed/{subject:path}/{link}")
    def framed(platform: Here, subject: str, link: str) -> Response:
        """The same in a frame of the course's page, which stores for tools."""
        fields = platform.initiation(platform.people[subject], None if link == "choose" else link)
        frame = f'<iframe src="{platform.login}?{escape(urlencode(fields))}"></iframe>'
        stores = STORING
        if platform.storage not in ("", "_parent"):
            stores = f'<iframe name="{platform.storage}" src="/storage"></iframe>'
        return HTMLResponse(f"<!doctype html><title>Course</title>{stores}{frame}")

    @app.get("/storage")
    def storage() -> Response:
        """A frame beside the tool's that stores."""
        return HTMLResponse(f"<!doctype html><title>Storage</title>{STORING}")

    @app.get("/install")
    def install(platform: Here, address: str) -> Response:
        """Dynamic registration: the tool's page in a frame, which says when it is done."""
        asked = {
            "openid_configuration": f"{platform.url}/openid-configuration",
            "registration_token": platform.registration_token,
        }
        frame = f'<iframe src="{escape(f"{address}?{urlencode(asked)}")}"></iframe>'
        return HTMLResponse(f"<!doctype html><title>Tools</title>{INSTALLING}{frame}")

    @app.get("/back")
    def back(lti_errormsg: str = "") -> Response:
        """Where somebody comes back who could not come in."""
        return HTMLResponse(f"<!doctype html><title>Course</title><h1>{escape(lti_errormsg)}</h1>")

    @app.get("/auth")
    def auth(platform: Here, request: Request) -> Response:
        """Authentication request: answered with a form that the browser posts to the tool."""
        asked = dict(parse_qsl(request.url.query))
        demanded = {
            "scope": "openid",
            "response_type": "id_token",
            "response_mode": "form_post",
            "prompt": "none",
            "client_id": platform.client_id,
            "redirect_uri": platform.tool,
        }
        assert {name: asked.get(name) for name in demanded} == demanded
        token = platform.id_token(asked)
        return HTMLResponse(
            "<!doctype html><title>Signing in</title>"
            f'<form method="post" action="{platform.tool}">'
            f'<input type="hidden" name="id_token" value="{token}">'
            f'<input type="hidden" name="state" value="{escape(asked["state"])}"></form>'
            "<script>document.forms[0].submit()</script>"
        )

    @app.get("/openid-configuration")
    def openid_configuration(platform: Here) -> Any:
        """LTI Dynamic Registration 1.0, 'Platform Configuration' (from memory)."""
        return {
            "issuer": platform.issuer,
            "authorization_endpoint": f"{platform.url}/auth",
            "token_endpoint": f"{platform.url}/token",
            "jwks_uri": f"{platform.url}/keys",
            "registration_endpoint": f"{platform.url}/register",
            "token_endpoint_auth_methods_supported": ["private_key_jwt"],
            "id_token_signing_alg_values_supported": ["RS256"],
            "https://purl.imsglobal.org/spec/lti-platform-configuration": {
                "product_family_code": "test",
                "version": "1",
                "messages_supported": [{"type": "LtiResourceLinkRequest"}],
            },
            **platform.discovery,
        }

    @app.post("/register")
    async def register(
        platform: Here, request: Request, authorization: Annotated[str, Header()] = ""
    ) -> Any:
        """Client registration (OpenID Connect Dynamic Client Registration 1.0, section 3)."""
        if authorization != f"Bearer {platform.registration_token}":
            raise HTTPException(401)
        platform.registration_token = "used"
        client = await request.json()
        assert client["application_type"] == "web"
        assert set(client["grant_types"]) == {"implicit", "client_credentials"}
        assert client["response_types"] == ["id_token"]
        assert client["token_endpoint_auth_method"] == "private_key_jwt"
        assert client["redirect_uris"] == [platform.tool]
        assert client["initiate_login_uri"] == platform.login
        tool = client["https://purl.imsglobal.org/spec/lti-tool-configuration"]
        assert f"//{tool['domain']}/" in tool["target_link_uri"] == platform.tool
        assert {each["type"]: each["target_link_uri"] for each in tool["messages"]} == {
            "LtiResourceLinkRequest": platform.tool,
            "LtiDeepLinkingRequest": platform.choosing_tool,
        }
        assert f"{AGS}/scope/score" in client["scope"].split()
        platform.registered.append(client)
        if platform.gives_deployment:
            tool["deployment_id"] = platform.deployment_id
        return {**client, "client_id": platform.client_id}

    @app.get("/keys")
    def keys(platform: Here) -> Response:
        platform.key_requests += 1
        return JSONResponse(KeySet(list(platform.keys)).as_dict(private=False))

    @app.get("/no-keys")
    def no_keys(platform: Here) -> Any:
        platform.missed += 1
        raise HTTPException(404)

    @app.post("/token")
    def token(
        platform: Here,
        grant_type: Annotated[str, Form()],
        client_assertion_type: Annotated[str, Form()],
        client_assertion: Annotated[str, Form()],
        scope: Annotated[str, Form()],
    ) -> Any:
        platform.token_requests += 1
        if platform.token_status is not None:
            raise HTTPException(platform.token_status)
        assert grant_type == "client_credentials"
        assert client_assertion_type == "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"
        platform.take_assertion(*platform.opened(client_assertion))
        made = secrets.token_urlsafe(16)
        platform.tokens[made] = platform.grants(set(scope.split()))
        granted = {"scope": " ".join(sorted(platform.tokens[made]))}
        return {"access_token": made, "token_type": "Bearer"} | granted | platform.token_answer

    def described(platform: Platform, number: int) -> dict[str, Any]:
        column = platform.columns[number]
        return {
            "id": f"{platform.url}/lineitems/{number}?course={COURSE}",
            "label": column.label,
            "scoreMaximum": column.most,
            "resourceId": column.resource_id,
            "tag": column.tag,
            "resourceLinkId": column.link,
        }

    @app.get("/lineitems")
    def line_items(
        platform: Here,
        course: str,
        authorization: Annotated[str, Header()],
        accept: Annotated[str, Header()],
        resource_link_id: str = "",
    ) -> Any:
        authorized(platform, authorization, f"{AGS}/scope/lineitem")
        platform.accepts("application/vnd.ims.lis.v2.lineitemcontainer+json", accept)
        assert course == COURSE
        return [
            described(platform, number)
            for number, column in enumerate(platform.columns)
            if resource_link_id in ("", column.link)
        ]

    @app.post("/lineitems", status_code=201)
    async def make_line_item(
        platform: Here,
        request: Request,
        course: str,
        authorization: Annotated[str, Header()],
    ) -> Any:
        authorized(platform, authorization, f"{AGS}/scope/lineitem")
        assert request.headers["content-type"] == "application/vnd.ims.lis.v2.lineitem+json"
        value = await request.json()
        platform.columns.append(
            Column(
                value["label"],
                value["scoreMaximum"],
                value.get("resourceId", ""),
                value.get("tag", ""),
                value.get("resourceLinkId", ""),
            )
        )
        return described(platform, len(platform.columns) - 1)

    @app.post("/lineitems/{number}/scores")
    async def take_score(
        platform: Here,
        request: Request,
        number: int,
        course: str,
        authorization: Annotated[str, Header()],
    ) -> Any:
        authorized(platform, authorization, f"{AGS}/scope/score")
        assert request.headers["content-type"] == "application/vnd.ims.lis.v1.score+json"
        if number >= len(platform.columns):
            raise HTTPException(404)
        value = await request.json()
        platform.take_score(value)
        moment = datetime.fromisoformat(value["timestamp"])
        assert moment.tzinfo is not None
        progress = (value["activityProgress"], value["gradingProgress"])
        if "scoreGiven" in value:
            assert value["scoreGiven"] >= 0
            assert value["scoreMaximum"] > 0
            assert progress[0] == "Completed"
            assert progress[1] in ("FullyGraded", "PendingManual")
            if "submission" in value:
                handed_in = datetime.fromisoformat(value["submission"]["submittedAt"])
                assert handed_in.tzinfo is not None
        else:
            assert progress == ("Initialized", "NotReady")
        column = platform.columns[number]
        column.posts += 1
        before = column.scores.get(value["userId"])
        if before is not None and datetime.fromisoformat(before["timestamp"]) >= moment:
            raise HTTPException(409)
        column.scores[value["userId"]] = value
        return Response(status_code=204)

    @app.get("/members")
    def members(
        platform: Here,
        authorization: Annotated[str, Header()],
        accept: Annotated[str, Header()],
        first: int = 0,
    ) -> Any:
        authorized(platform, authorization, f"{NRPS}/scope/contextmembership.readonly")
        platform.accepts("application/vnd.ims.lti-nrps.v2.membershipcontainer+json", accept)
        people = list(platform.people.values())
        shown = people[first : first + platform.page_size]
        answer = {
            "id": f"{platform.url}/members",
            "context": {"id": COURSE},
            "members": [platform.describe(person) for person in shown],
        }
        following = first + platform.page_size
        kind = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json"
        headers = {}
        if following < len(people):
            # A relative target is a target, too (RFC 8288, section 3.1; from memory).
            headers["Link"] = f'<members?first={following}>; rel="next"'
        return JSONResponse(answer, headers=headers, media_type=kind)

    @app.post("/return")
    def take_choice(platform: Here, response: Annotated[str, Form(alias="JWT")]) -> Any:
        """Chosen links become links of the course."""
        platform.take_response(*platform.opened(response))
        return HTMLResponse(
            f"<!doctype html><title>Link made</title><h1>Links made: {len(platform.chosen)}</h1>"
        )

    return app


def expired(claims: dict[str, Any]) -> None:
    claims["iat"] -= 1000
    claims["exp"] = claims["iat"] + 300
