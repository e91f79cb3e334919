"""Pages, htmx fragments and error pages, all from templates/.

A template whose name begins with an underscore is a fragment. ``page`` renders a whole sheet;
``fragment`` a part of one for htmx to swap in. An error answers an htmx request with a notice that
lands in the page's notice line, so that nothing the visitor typed is swapped away.
"""

from datetime import datetime, timedelta
from pathlib import PurePosixPath
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markdown_it import MarkdownIt
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.templating import Jinja2Templates

from server.paths import TEMPLATES
from server.store.college import UTC_ZONE
from server.store.local_time import write_moment, zone_mark

# Markup in the text is shown, not obeyed; images could only come from elsewhere.
_markdown = MarkdownIt("commonmark", {"html": False}).enable("table").disable("image")


def markdown(text: str) -> Markup:
    """Text of an exercise as HTML. Raw HTML in it comes out as text."""
    return Markup(_markdown.render(text))


_comment_markdown = MarkdownIt("commonmark", {"html": False, "breaks": True}).disable(
    # A comment is no page of its own: it has no headings, rules or pictures.
    ["image", "heading", "lheading", "hr", "html_block", "html_inline"]
)


def comment_markdown(text: str) -> Markup:
    """Return a comment as HTML. Raw HTML in it comes out as text, and so do links to scripts."""
    return Markup(_comment_markdown.render(text))


@pass_context
def when(context: Context, moment: datetime) -> str:
    """Return a moment in the college's time zone: Mon 30 Nov 2026, 23:59."""
    return write_moment(moment, context["zone"])


@pass_context
def due(context: Context, moment: datetime) -> str:
    """Return the same with the zone beside it: Mon 30 Nov 2026, 23:59 CET."""
    return f"{when(context, moment)} {zone_mark(moment, context['zone'])}"


def points(number: float) -> str:
    """Return points without needless zeros: 4, 3.5, 0.67."""
    return f"{number:.2f}".rstrip("0").rstrip(".")


def percent(share: float) -> str:
    """Return a part of one in whole per cent: 73 %."""
    return f"{100 * share:.0f}\u202f%"


def ago(moment: datetime, now: datetime) -> str:
    """Return how long ago, in whole minutes or hours."""
    minutes = max(0, int((now - moment).total_seconds() // 60))
    if minutes < 1:
        return "just now"
    return f"{minutes} min ago" if minutes < 90 else f"{minutes // 60} h ago"


environment = Environment(
    loader=FileSystemLoader(TEMPLATES),
    autoescape=True,
    undefined=StrictUndefined,
    # Templates come with the code: like it, they are read anew when the server starts.
    auto_reload=False,
    trim_blocks=True,
    lstrip_blocks=True,
)


def time_left(left: timedelta) -> str:
    """Return a time to come in its two largest units: 3 days 4 hours, 40 minutes."""
    minutes = max(1, int(left.total_seconds()) // 60)
    units = (("day", minutes // 1440), ("hour", minutes // 60 % 24), ("minute", minutes % 60))
    shown = [f"{number} {name}{'' if number == 1 else 's'}" for name, number in units if number]
    return " ".join(shown[:2])


environment.filters |= {
    "time_left": time_left,
    "markdown": markdown,
    "comment_markdown": comment_markdown,
    "when": when,
    "due": due,
    "points": points,
    "percent": percent,
    "ago": ago,
}


def _of_request(request: Request) -> dict[str, object]:
    return {
        "visitor": getattr(request.state, "visitor", None),
        "zone": getattr(request.state, "zone", UTC_ZONE),
    }


_templates = Jinja2Templates(env=environment, context_processors=[_of_request])


def page(request: Request, template: str, status: int = 200, **context: Any) -> Response:
    """Return a whole page."""
    assert not _is_fragment(template), f"{template} is a fragment"
    return _templates.TemplateResponse(request, template, context, status)


def fragment(request: Request, template: str, status: int = 200, **context: Any) -> Response:
    """Return a part of a page for htmx, which swaps it in whatever the status."""
    assert _is_fragment(template), f"{template} is a whole page"
    return _templates.TemplateResponse(request, template, context, status)


def _is_fragment(template: str) -> bool:
    return PurePosixPath(template).name.startswith("_")


def wants_fragment(request: Request) -> bool:
    """Return whether htmx asks for a part of a page, and not the browser for a whole one."""
    return request.headers.get("HX-Request-Type") == "partial"


ERRORS = {
    401: "You are signed out",
    403: "Not permitted",
    404: "Nothing here",
    405: "Not possible here",
    413: "Too large",
    422: "That can't be used",
    429: "Too many attempts",
    500: "Our mistake",
    503: "The database does not answer",
    507: "The disk can't be written",
}


def error(request: Request, status: int, sentence: str) -> Response:
    """Return an error page, or for htmx its notice, or for a script JSON.

    ``sentence`` says what, where and how to fix it.
    """
    if request.url.path.startswith("/api/"):
        return JSONResponse({"detail": sentence}, status)
    context = {"number": status, "heading": ERRORS.get(status, "Refused"), "sentence": sentence}
    if wants_fragment(request):
        answer = fragment(request, "errors/_notice.html", status, **context)
        answer.headers["HX-Retarget"] = "#notice"
        answer.headers["HX-Reswap"] = "innerHTML"
        return answer
    return page(request, "errors/error.html", status, **context)
