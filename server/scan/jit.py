"""How everything compiled is compiled.

Reference counting is off where nothing is allocated: counting arrays in and out of every call
cost more than the calls' own work. What runs in every scan is put in place of its call, as
handing over the arrays would again cost as much. No fast arithmetic: it would change the bytes.
"""

from typing import Any

from numba import njit

_OPTIONS: dict[str, Any] = {"cache": True, "error_model": "numpy", "_nrt": False}

jitted = njit(**_OPTIONS)
inlined = njit(**_OPTIONS, forceinline=True)
allocating = njit(**{**_OPTIONS, "_nrt": True})
