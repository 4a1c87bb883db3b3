"""Libraries that only some doors need: which extra of the installation brings them."""

from __future__ import annotations

import importlib.util

from wavesim.errors import InputError


def require(what: str, *modules: str, extra: str) -> None:
    """Refuse to begin without what an extra brings; `what` needs the modules.

    Raises
    ------
    InputError
        A library is missing.
    """
    missing = [name for name in modules if importlib.util.find_spec(name) is None]
    if missing:
        raise InputError(
            f"{what} needs {', '.join(missing)}", expected=f'pip install "wavesim[{extra}]"'
        )
