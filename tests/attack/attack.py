"""What one attack is: a title, and a function that plays it against a live server."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from server.store.database import Database


@dataclass(frozen=True)
class Target:
    """The server under attack: its address, its database and its data folder."""

    url: str
    database: Database
    folder: Path


@dataclass(frozen=True)
class Outcome:
    """What came of an attack.

    ``tried``: what was done, in one clause; ``times``: how often; ``came``: what the server did;
    ``held``: whether the server is as safe as before.
    """

    tried: str
    times: int
    came: str
    held: bool


@dataclass(frozen=True)
class Attack:
    """One attack; ``on_postgresql``: it matters there, too, and is played on both databases."""

    title: str
    play: Callable[[Target], Outcome]
    on_postgresql: bool = False
