"""Registering with a platform that asks for it: what it says of itself, and what it is told of us.

LTI Dynamic Registration 1.0, over OpenID Connect Discovery and Dynamic Client Registration. Names
from published registrations, rules from memory.
"""

from collections.abc import Collection
from typing import Annotated, Any
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from server.remote.deep_linking import HISTORIES
from server.remote.http import NotTaken, Outside, host_of, is_permitted
from server.remote.services import LINE_ITEMS, MEMBERS, SCORES
from server.store.lti import MAX_ADDRESS
from server.store.lti_platforms import Registration

TOOL_CONFIGURATION = "https://purl.imsglobal.org/spec/lti-tool-configuration"
DESCRIPTION = "Exercises in control logic: rung programs on simulated plants, marked on the server."
CLAIMS = ("iss", "sub", "name", "given_name", "family_name", "email")

Name = Annotated[str, Field(min_length=1, max_length=255)]
Address = Annotated[str, Field(min_length=1, max_length=MAX_ADDRESS)]


class _Discovery(BaseModel):
    issuer: Name
    authorization_endpoint: Address
    token_endpoint: Address
    jwks_uri: Address
    registration_endpoint: Address
    authorization_server: Annotated[str, Field(max_length=MAX_ADDRESS)] | None = None


class _ToolSettings(BaseModel):
    deployment_id: Annotated[str, Field(max_length=255)] | None = None


class _Registered(BaseModel):
    model_config = ConfigDict(
        alias_generator=lambda name: {"tool": TOOL_CONFIGURATION}.get(name, name)
    )

    client_id: Name
    tool: _ToolSettings = _ToolSettings()


def tool_configuration(site: str, target: str, choosing: str) -> dict[str, Any]:
    """Return what this tool is, in the form in which a platform registers it."""
    return {
        "application_type": "web",
        "response_types": ["id_token"],
        "grant_types": ["implicit", "client_credentials"],
        "client_name": "Rungmark",
        "initiate_login_uri": f"{site}/lti/login",
        "redirect_uris": [target],
        "jwks_uri": f"{site}/lti/keys",
        "logo_uri": f"{site}/static/mark.svg",
        "token_endpoint_auth_method": "private_key_jwt",
        "scope": " ".join((*LINE_ITEMS, *SCORES, *MEMBERS)),
        TOOL_CONFIGURATION: {
            "domain": host_of(site),
            "description": DESCRIPTION,
            "target_link_uri": target,
            "custom_parameters": HISTORIES,
            "claims": list(CLAIMS),
            "messages": [
                {"type": "LtiResourceLinkRequest", "target_link_uri": target},
                {
                    "type": "LtiDeepLinkingRequest",
                    "target_link_uri": choosing,
                    "label": "Choose exercises",
                },
            ],
        },
    }


def register_at(
    outside: Outside,
    address: str,
    token: str,
    hosts: Collection[str],
    configuration: dict[str, Any],
) -> tuple[Registration, str]:
    """Ask the platform what it is, and have it register the tool. Raises NoAnswer and NotTaken.

    Return what it says of itself, and its deployment, empty if it names none. ``address`` is
    its OpenID configuration, ``token`` what it gave for registering, if anything.
    """
    found = _discover(outside, address, hosts)
    headers = {"Content-Type": "application/json", "Accept": "application/json"}
    if token:
        headers["Authorization"] = f"Bearer {token}"
    answer = outside.post_json(found.registration_endpoint, hosts, headers, configuration)
    try:
        made = _Registered.model_validate(answer.data)
    except ValidationError as error:
        raise NotTaken(
            f"{host_of(found.registration_endpoint)} gave no client id in answer to the "
            "registration. Register Rungmark there by hand."
        ) from error
    said = Registration(
        issuer=found.issuer,
        client_id=made.client_id,
        login_url=found.authorization_endpoint,
        token_url=found.token_endpoint,
        keys_url=found.jwks_uri,
        token_audience=found.authorization_server or "",
    )
    return said, made.tool.deployment_id or ""


def _discover(outside: Outside, address: str, hosts: Collection[str]) -> _Discovery:
    try:
        found = _Discovery.model_validate(outside.get(address, hosts).data)
    except ValidationError as error:
        name = ".".join(str(part) for part in error.errors()[0]["loc"]) or "all of it"
        raise NotTaken(
            f"The OpenID configuration of {host_of(address)} can't be read ({name}). "
            "Register Rungmark there by hand."
        ) from error
    # Nobody may register in the name of another platform.
    if urlsplit(found.issuer)[:2] != urlsplit(address)[:2]:
        raise NotTaken(
            f"The OpenID configuration of {host_of(address)} names another issuer, {found.issuer}."
        )
    for each in (found.authorization_endpoint, found.token_endpoint, found.jwks_uri):
        if host_of(each) not in hosts or not is_permitted(each):
            raise NotTaken(
                f"{each} is not an https address at one of the hosts of the invitation. The "
                "administrator invites the LMS again, with all of its hosts."
            )
    return found
