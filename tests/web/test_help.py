"""The guides: each is shown, found by its words, and leads only to places that exist."""

import re

import pytest

from server.store.database import Database
from server.web.help.guides import GUIDES, all_guides, find_sections
from tests.web.lab import ClientFor


@pytest.mark.parametrize("name", GUIDES)
def test_a_guide_shows_each_of_its_sections(
    database: Database, client_for: ClientFor, name: str
) -> None:
    client = client_for(None)
    answer = client.get(f"/help/{name}")
    assert answer.status_code == 200
    source = GUIDES[name]()
    for heading in re.findall(r"^## (.+)$", source, re.MULTILINE):
        assert f"</span>{heading}</h2>" in answer.text.replace("&#39;", "'")
    for target in re.findall(r'href="#([^"]+)"', answer.text):
        assert f'id="{target}"' in answer.text


@pytest.mark.parametrize("name", GUIDES)
def test_each_link_of_a_guide_leads_to_a_page(client_for: ClientFor, name: str) -> None:
    client = client_for(None)
    for target in re.findall(r"\]\((/[^)]*)\)", GUIDES[name]()):
        # Pages for who is signed in answer with the way to sign in.
        assert client.get(target).status_code in (200, 303, 401), target


def test_sections_of_a_guide_have_addresses_of_their_own() -> None:
    for guide in all_guides():
        ids = [section.id for section in guide.sections]
        assert all(ids)
        assert len(set(ids)) == len(ids), guide.title


def test_a_search_finds_sections_with_every_word(client_for: ClientFor) -> None:
    client = client_for(None)
    assert 'href="/help/operating#backup"' in client.get("/help?q=restore+backup").text
    assert find_sections("restore hovercraft") == []
    assert "No section contains" in client.get("/help?q=restore+hovercraft").text
    assert find_sections("  ") == []


def test_an_unknown_guide_is_nothing(client_for: ClientFor) -> None:
    assert client_for(None).get("/help/gardening").status_code == 404
