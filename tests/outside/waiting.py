"""Waiting for a condition. The bound is generous, since it only ends a check that has failed already."""

import time

PATIENCE = 60.0
"""Seconds after which nothing more is expected to come."""

PAUSE = 0.02


def eventually(what, probe):
    """Asks `probe` until it gives something true, and gives that."""
    end = time.monotonic() + PATIENCE
    while True:
        found = probe()
        if found:
            return found
        if time.monotonic() > end:
            raise AssertionError(f"waited {PATIENCE:.0f} s in vain for {what}; the last answer was {found!r}")
        time.sleep(PAUSE)
