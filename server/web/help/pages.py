"""The list of guides with a search in them, and each guide as a page."""

from typing import Annotated

from fastapi import APIRouter, HTTPException, Query, Request
from starlette.responses import Response

from server.web.help.guides import all_guides, find_sections, read_guide
from server.web.rendering import page

router = APIRouter()


@router.get("/help")
def guides(request: Request, q: Annotated[str, Query(max_length=200)] = "") -> Response:
    """Show the guides, or the sections of them that contain every word asked for."""
    return page(request, "help/list.html", guides=all_guides(), query=q, found=find_sections(q))


@router.get("/help/{name}")
def guide(request: Request, name: str) -> Response:
    found = read_guide(name)
    if found is None:
        raise HTTPException(404)
    return page(request, "help/guide.html", guide=found)
