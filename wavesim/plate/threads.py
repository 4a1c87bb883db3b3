"""Sharing rows of work between threads (the leaf `wavesim.threads`)."""

from wavesim.threads import in_threads

__all__ = ["in_threads"]
