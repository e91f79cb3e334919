"""Keeps small secrets unreadable in the database and its backups, by a secret of the settings."""

import hashlib
from functools import lru_cache

from joserfc import jwe
from joserfc.errors import JoseError
from joserfc.jwk import OctKey


class SealedElsewhere(Exception):
    """It can't be read with this secret: it was sealed with another one."""


def seal(content: bytes, name: str, secret: str) -> str:
    """Return ``content`` as a JWE (RFC 7516) that ``secret`` opens, for what has this ``name``."""
    return jwe.encrypt_compact({"alg": "dir", "enc": "A256GCM"}, content, _lock(name, secret))


def unseal(sealed: str, name: str, secret: str) -> bytes:
    """Return what was sealed. Raises SealedElsewhere."""
    if secret:
        try:
            lock = _lock(name, secret)
            content = jwe.decrypt_compact(sealed, lock, algorithms=["dir", "A256GCM"]).plaintext
        except (JoseError, ValueError) as error:
            raise SealedElsewhere from error
        if content is not None:
            return content
    raise SealedElsewhere


@lru_cache(maxsize=16)
def _lock(name: str, secret: str) -> OctKey:
    stretched = hashlib.scrypt(secret.encode(), salt=name.encode(), n=2**14, r=8, p=1, dklen=32)
    return OctKey.import_key(stretched)
