"""Our pages inside a platform's frame: a way out of it, and where it keeps the state for us.

Browsers refuse cookies in frames of other sites. Where the platform says that it stores for tools
(``lti_storage_target``), the state is kept there: our page asks the platform's window by
``postMessage``, which stores by the origin that asks. LTI OIDC Login with LTI Client Side
postMessages 0.1 and LTI postMessage Storage 0.1; names of the messages from published uses of them,
rules from memory.
"""

from urllib.parse import urlencode, urlsplit

from starlette.requests import Request
from starlette.responses import Response

from server.store.lti import Platform
from server.web.rendering import page
from server.web.security import content_security_policy

FRAMES = frozenset({"iframe", "frame", "embed", "object"})
HINTS = ("iss", "login_hint", "target_link_uri", "lti_message_hint", "client_id")


def in_frame(request: Request) -> bool:
    """Return whether the browser asks for a page in a frame, as far as it says so."""
    return request.headers.get("Sec-Fetch-Dest") in FRAMES


def origin_of(address: str) -> str:
    parts = urlsplit(address)
    return f"{parts.scheme}://{parts.netloc}"


def frame_policy(platform: Platform) -> str:
    """Return whose frames may hold our page: those of the platform's own origins."""
    addresses = (platform.issuer, platform.login_url)
    return " ".join(sorted({origin_of(each) for each in addresses if urlsplit(each).netloc}))


def for_frame(answer: Response, platform: Platform) -> Response:
    """Let the platform's frame hold this page."""
    policy = content_security_policy(frame_ancestors=frame_policy(platform))
    answer.headers["Content-Security-Policy"] = policy
    return answer


def window_page(request: Request, platform: Platform, values: dict[str, str]) -> Response:
    """For a launch in a frame: a link that begins it again in a window of its own.

    A link and no form, because a browser also holds redirections of a form to its policy.
    """
    address = _again(values)
    return for_frame(page(request, "lti/window.html", address=address), platform)


def keeping_page(
    request: Request, platform: Platform, values: dict[str, str], state: str, onward: str
) -> Response:
    """For a choice in a frame: have the platform keep the state, then go on to sign in.

    Without an answer of the platform, the page shows the link to a window of its own.
    """
    answer = page(
        request,
        "lti/keep_state.html",
        address=_again(values),
        onward=onward,
        target=values["lti_storage_target"],
        origin=origin_of(platform.login_url),
        state=state,
        key=storage_key(state),
    )
    return for_frame(answer, platform)


def asking_page(request: Request, platform: Platform, target: str, state: str) -> Response:
    """Back from the platform: ask it for the state, which only this browser's window has."""
    answer = page(
        request,
        "lti/ask_state.html",
        target=target,
        origin=origin_of(platform.login_url),
        key=storage_key(state),
    )
    return for_frame(answer, platform)


def storage_key(state: str) -> str:
    """Return the cookie of one sign-in, so that two frames don't disturb each other."""
    return "rungmark_lti_" + "".join(letter for letter in state if letter.isalnum())[:12]


def _again(values: dict[str, str]) -> str:
    return f"/lti/login?{urlencode({name: values[name] for name in HINTS if name in values})}"
