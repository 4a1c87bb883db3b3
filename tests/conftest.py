"""What all tests share: repeatable random examples, no window, no leftovers of the shell's."""

from __future__ import annotations

import os

import hypothesis

os.environ["MPLBACKEND"] = "Agg"
os.environ.pop("WAVESIM_DEBUG", None)

# no deadline: the first example compiles kernels; derandomized: a failure shows on every machine
hypothesis.settings.register_profile("repeatable", deadline=None, derandomize=True)
hypothesis.settings.load_profile("repeatable")
