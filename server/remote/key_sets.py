"""Key sets that other servers publish, kept for an hour; asked for again when a key is unknown.

An address without a usable key set is not asked again for a minute.
"""

from collections.abc import Collection
from datetime import datetime, timedelta

from joserfc.errors import InvalidKeyIdError, JoseError
from joserfc.jwk import Key, KeySet

from server.remote.http import LEFT_ALONE, NotTaken, Outside

KEPT = timedelta(hours=1)
ASKED_AGAIN = timedelta(seconds=30)
"""An unknown key does not make us ask more often, so that made-up tokens can't."""


class KeySets:
    """The key sets that this process has seen, by address."""

    def __init__(self, outside: Outside) -> None:
        self._outside = outside
        self._found: dict[str, tuple[KeySet, datetime]] = {}
        self._unusable: dict[str, tuple[NotTaken, datetime]] = {}

    def find(self, address: str, hosts: Collection[str], kid: str | None, now: datetime) -> Key:
        """Return the key of this id. Raises NoAnswer, and NotTaken if there is none.

        A token has to name its key (Security Framework 1.0, 5.1.3; from memory): without a name,
        one key after another could be tried on it.
        """
        if not kid:
            raise NotTaken("It does not name its key (kid).")
        keys, at = self._found.get(address, (None, now))
        age = now - at
        if keys is None or not timedelta() <= age < KEPT:
            keys = self._fetch(address, hosts, now)
            age = timedelta()
        try:
            return keys.get_by_kid(kid)
        except InvalidKeyIdError as unknown:
            if age >= ASKED_AGAIN:
                keys = self._fetch(address, hosts, now)
            try:
                return keys.get_by_kid(kid)
            except InvalidKeyIdError:
                raise NotTaken("Its key is not among those published.") from unknown

    def _fetch(self, address: str, hosts: Collection[str], now: datetime) -> KeySet:
        trouble, since = self._unusable.get(address, (None, now))
        if trouble is not None and timedelta() <= now - since < LEFT_ALONE:
            raise NotTaken(str(trouble))
        try:
            keys = _read(self._outside.get(address, hosts).data, address)
        except NotTaken as error:
            self._unusable[address] = error, now
            raise
        self._unusable.pop(address, None)
        self._found[address] = keys, now
        return keys


def _read(data: object, address: str) -> KeySet:
    try:
        return KeySet.import_key_set(data)  # type: ignore[arg-type]
    except (JoseError, KeyError, TypeError, ValueError) as error:
        raise NotTaken(f"There is no key set at {address}.") from error
