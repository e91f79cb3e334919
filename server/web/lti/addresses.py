"""Addresses that go between a platform and us: those of ours that it is told, and the way back."""

from urllib.parse import urlencode, urlsplit

from server.remote.http import host_of, is_permitted
from server.settings import Settings
from server.store.lti import Platform


def target_of(settings: Settings) -> str:
    """Return where links lead, and where every launch is posted."""
    return f"{settings.public_urls[0]}/lti/launch"


def choosing_target_of(settings: Settings) -> str:
    """Return where a platform leads who chooses new links, so that it is known beforehand."""
    return f"{settings.public_urls[0]}/lti/choose"


def way_back(platform: Platform, address: str | None, sentence: str) -> str:
    """Return the platform's address for who could not come in, with the sentence for them.

    Empty if the platform names none, or one at a host that is not registered. Names of the
    parameters: LTI Core 1.3, 'Launch presentation claim' (from memory).
    """
    if not address or host_of(address) not in platform.hosts or not is_permitted(address):
        return ""
    parts = urlsplit(address)
    said = urlencode({"lti_errormsg": sentence, "lti_errorlog": f"Rungmark: {sentence}"})
    return parts._replace(query="&".join(part for part in (parts.query, said) if part)).geturl()
