"""Libraries that only the live bench needs."""

from __future__ import annotations

import importlib.util

from wavesim.errors import InputError


def require(*modules: str, extra: str) -> None:
    """Refuse to begin without what an extra brings.

    Raises
    ------
    InputError
        A library is missing.
    """
    missing = [name for name in modules if importlib.util.find_spec(name) is None]
    if missing:
        raise InputError(
            f"the live bench needs {', '.join(missing)}", expected=f"pip install wavesim[{extra}]"
        )
