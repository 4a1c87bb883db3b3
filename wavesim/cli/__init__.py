"""The commands, one file each; no physics here.

A file `wavesim/cli/NAME.py` holds a click command called `command` and is imported only when
`wavesim NAME` is used. It imports nothing heavy at its top, so that help stays quick.

Exit status: 0 done, 1 the computation failed, 2 the input is wrong, 130 interrupted.
"""

from __future__ import annotations

import difflib
import importlib
import os
import pkgutil
import signal
import sys
import traceback
from types import FrameType
from typing import NoReturn

import click

from wavesim import __version__
from wavesim.errors import WavesimError

__all__ = ["main"]

_ORDER = ("expose", "predict", "measure", "compare", "study", "sheet", "schema")
_NO_COMMANDS = ("common", "quantities")
_FAILED, _WRONG, _INTERRUPTED = 1, 2, 130
_TERMINATED = 128 + signal.SIGTERM


class _Commands(click.Group):
    """Finds commands by file name and imports them when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  (click's signature)
        names = {module.name for module in pkgutil.iter_modules(__path__)}
        rank = {name: place for place, name in enumerate(_ORDER)}
        return sorted(names.difference(_NO_COMMANDS), key=lambda n: (rank.get(n, len(rank)), n))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        command = importlib.import_module(f"wavesim.cli.{cmd_name}").command
        return command if isinstance(command, click.Command) else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        known = self.list_commands(ctx)
        if args and args[0] not in known:
            near = difflib.get_close_matches(args[0], known, 1)
            hint = f"do you mean {near[0]!r}?" if near else f"there are {', '.join(known)}"
            raise click.UsageError(f"no command {args[0]!r}; {hint}", ctx)
        return super().resolve_command(ctx, args)


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Example: wavesim expose scenes/slits_005.toml",
)
@click.version_option(__version__, message="wavesim %(version)s")
@click.option("--debug", is_flag=True, help="Show where an error arose (or set WAVESIM_DEBUG=1).")
def _wavesim(debug: bool) -> None:
    """Say what an optical bench puts on its plate: slits and gratings, in true colour."""
    if debug:
        os.environ["WAVESIM_DEBUG"] = "1"


def main(args: list[str] | None = None) -> NoReturn:
    """Run the command line `args` (default: the process's own) and exit with its status."""
    signal.signal(signal.SIGTERM, _terminate)
    try:
        status = _run(args)
        sys.stdout.flush()
    except BrokenPipeError:
        _silence_output()
        status = _FAILED
    sys.exit(status)


def _run(args: list[str] | None) -> int:
    try:
        result = _wavesim.main(args, prog_name="wavesim", standalone_mode=False)
        return result if isinstance(result, int) else 0
    except BrokenPipeError:
        raise
    except (KeyboardInterrupt, click.Abort):
        return _say("interrupted", _INTERRUPTED)
    except click.ClickException as error:
        return _say(_usage(error), _WRONG)
    except WavesimError as error:
        _trace()
        return _say(str(error), error.exit_status)
    except MemoryError:
        _trace()
        return _say("the machine has not enough free memory for this scene", _FAILED)
    except Exception as error:
        _trace()
        what = f"{type(error).__name__}: {error}".splitlines()[0]
        where = "" if _debugging() else " (wavesim --debug ... shows where)"
        return _say(f"an error in wavesim itself, please report it: {what}{where}", _FAILED)


def _usage(error: click.ClickException) -> str:
    message = error.format_message().rstrip(".")
    context = getattr(error, "ctx", None)
    if context is None:
        return message
    return f"{message[0].lower()}{message[1:]}; see {context.command_path} --help"


def _say(message: str, status: int) -> int:
    click.echo(f"wavesim: {message}", err=True)
    return status


def _debugging() -> bool:
    return os.environ.get("WAVESIM_DEBUG", "") not in ("", "0")


def _trace() -> None:
    if _debugging():
        traceback.print_exc()


def _terminate(signum: int, frame: FrameType | None) -> NoReturn:  # noqa: ARG001  (a handler)
    """Leave through the usual way out, so that temporary files are removed."""
    sys.exit(_TERMINATED)


def _silence_output() -> None:
    """Keep the interpreter from writing to the closed pipe once more as it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
