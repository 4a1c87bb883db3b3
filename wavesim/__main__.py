"""`wavesim` as a process; `python -m wavesim` is the same.

Ctrl-C is heeded from the first line on: what the command imports takes a tenth of a second.
"""

import atexit
import gc
import os
import signal
from typing import NoReturn


def main() -> NoReturn:
    """Run the command line of this process."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _leave)
    # what a command imports stays until its end: no need to search it for garbage time and again
    gc.set_threshold(20_000, 20, 20)
    atexit.register(gc.freeze)
    from wavesim.cli import main as command

    command()


def _leave(_signum: int, _frame: object) -> NoReturn:
    os.write(2, b"wavesim: interrupted\n")
    os._exit(130)  # nothing has been begun


if __name__ == "__main__":
    main()
