"""What goes back to a platform after a choice: the content items and the message around them.

Deep Linking 2.0, 'LTI Resource Link' and 'Deep linking response message' (names from memory, held
against published requests).
"""

import secrets
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from server.remote.claims import CLAIM
from server.store.courses import Assignment
from server.store.lti import LtiChoice

RESPONSE_LASTS = timedelta(minutes=5)
_CHOOSING = "https://purl.imsglobal.org/spec/lti-dl/claim/"

Item = dict[str, object]

HISTORIES = {
    "context_history": "$Context.id.history",
    "link_history": "$ResourceLink.id.history",
}
"""Custom parameters that a platform fills in at each launch, as far as it knows them: from which
courses and links this one was copied (LTI Core 1.3, appendix B; from memory)."""


def resource_link(choice: LtiChoice, chosen: Assignment, most: float, target: str) -> Item:
    """Return the content item of a link to an assignment that gives ``most`` points."""
    item: Item = {
        "type": "ltiResourceLink",
        "title": chosen.title,
        "url": target,
        "custom": {"assignment": str(chosen.id), **HISTORIES},
        "available": {"startDateTime": _moment(chosen.opens_at)},
        "submission": {
            "startDateTime": _moment(chosen.opens_at),
            "endDateTime": _moment(chosen.due_at),
        },
    }
    if choice.takes_window:
        item["window"] = {"targetName": f"rungmark-{chosen.id}"}
    if choice.takes_line_item:
        item["lineItem"] = {
            "label": chosen.title,
            "scoreMaximum": most,
            "resourceId": f"assignment-{chosen.id}",
        }
    return item


def response(
    choice: LtiChoice, items: Sequence[Item], now: datetime, *, message: str = "", trouble: str = ""
) -> dict[str, object]:
    """Return the claims of the response; without items, nothing was chosen.

    ``message`` and ``trouble`` are sentences that the platform may show: what was done, or why not.
    """
    platform = choice.context.platform
    claims: dict[str, object] = {
        "iss": platform.client_id,
        "aud": platform.issuer,
        "iat": int(now.timestamp()),
        "exp": int((now + RESPONSE_LASTS).timestamp()),
        "nonce": secrets.token_urlsafe(24),
        f"{CLAIM}deployment_id": choice.context.deployment_id,
        f"{CLAIM}message_type": "LtiDeepLinkingResponse",
        f"{CLAIM}version": "1.3.0",
        f"{_CHOOSING}content_items": list(items),
    }
    if choice.data is not None:
        claims[f"{_CHOOSING}data"] = choice.data
    if message:
        claims[f"{_CHOOSING}msg"] = message
    if trouble:
        claims[f"{_CHOOSING}errormsg"] = trouble
    return claims


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="seconds")
