"""Run some crowded programs and print a hash of all their memory: for runs in other modes.

``python -m tests.scan.digest`` also tells whether an index out of range was noticed.
"""

import hashlib

import numpy as np

from server.scan.instructions import WIDTH, Op
from server.scan.kernel import execute
from tests.scan.crowded import crowded
from tests.scan.lane_run import LaneRun
from tests.scan.stimulus import Stimulus


def digest() -> str:
    """SHA-256 of the memory after every scan of eight programs."""
    found = hashlib.sha256()
    for seed in range(8):
        program = crowded(seed)
        run, stimulus = LaneRun(program), Stimulus(program, seed)
        for _ in range(12):
            run.scan(*stimulus.next())
            found.update(run.bits.tobytes())
    return found.hexdigest()


def notices_index_errors() -> bool:
    """Whether the kernel refuses an instruction that reads outside its memory."""
    code = np.zeros((1, WIDTH), np.uint32)
    code[0, :3] = Op.COPY, 0, 1000
    bits = np.zeros(2, np.uint64)
    try:
        execute(code, 0, 1, bits, bits, np.zeros((0, 2), np.int32))
    except IndexError:
        return True
    return False


if __name__ == "__main__":
    print(digest(), notices_index_errors())
