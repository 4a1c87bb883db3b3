"""The commands, one file each; no physics here.

A file `wavesim/cli/NAME.py` holds a click command called `command` and is imported only when
`wavesim NAME` is used. It imports nothing heavy at its top, so that help stays quick.

Exit status: 0 done, 1 the computation failed, 2 the input is wrong, 130 interrupted.
"""

from __future__ import annotations

import atexit
import difflib
import importlib
import io
import os
import re
import signal
import sys
import traceback
from pathlib import Path
from typing import NoReturn

import click

from wavesim.cli import signals
from wavesim.cli.options import examples, first_example, refuse_repetition
from wavesim.errors import WavesimError, one_line
from wavesim.version import __version__

__all__ = ["main"]

_COMMANDS = (
    "expose", "develop", "point", "predict", "profile", "tolerance", "diagnose", "measure",
    "efficiency", "compare", "fit", "study", "figure", "sheet", "animate", "live", "keys", "schema",
)  # fmt: skip
_FAILED, _WRONG, _INTERRUPTED = 1, 2, signals.INTERRUPTED
_LONGEST = 1200  # letters of a message


class _Commands(click.Group):
    """Imports a command's file when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  (click's signature)
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        command = importlib.import_module(f"wavesim.cli.{cmd_name}").command
        if not isinstance(command, click.Command):
            return None
        for param in command.params:
            if isinstance(param, click.Option) and not (param.multiple or param.is_flag):
                refuse_repetition(param)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        known = self.list_commands(ctx)
        if args and args[0] not in known:
            near = difflib.get_close_matches(args[0], known, 1)
            hint = f"did you mean {near[0]!r}?" if near else f"expected one of {', '.join(known)}"
            raise click.UsageError(f"no command {args[0]!r}; {hint}", ctx)
        return super().resolve_command(ctx, args)


@click.group(
    cls=_Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog=examples("wavesim expose scenes/slits_005.toml", "wavesim expose --help"),
)
@click.version_option(__version__, message="wavesim %(version)s")
@click.option("--debug", is_flag=True, help="Show a traceback on errors (or set WAVESIM_DEBUG=1).")
@click.pass_context
def _wavesim(ctx: click.Context, debug: bool) -> None:
    """Compute what an optical bench puts on its plate: slits and gratings, in true colour."""
    if debug:
        os.environ["WAVESIM_DEBUG"] = "1"
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())
    else:
        import logging

        # where a home cannot be written it tells on two lines that its fonts' list is elsewhere
        logging.getLogger("matplotlib").setLevel(logging.ERROR)


def main(args: list[str] | None = None) -> NoReturn:
    """Run the command line `args` (default: the process's own) and exit with its status."""
    # our own threads share out the work: those of a matrix product cost more than they save here,
    # and would make the last bits depend on their number
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    os.environ["MPLBACKEND"] = "agg"  # no window is opened, whatever a shell's leftovers name
    os.environ.pop("NUMBA_NUM_THREADS", None)  # not used, and refused where it is nonsense
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # else looked for in each package
    signals.listen()
    _fill_closed_streams()
    try:
        try:
            status = _guarded(args)
        finally:
            signals.rest()
    except KeyboardInterrupt:
        status = _interrupted()
    struck = signals.status()
    if status == 0 and struck is not None:  # where an exception was not heard
        status = _say("interrupted after everything had been written", struck)
    atexit.register(signal.signal, signal.SIGINT, signal.SIG_IGN)  # all is said: no traceback now
    sys.exit(status)


def _fill_closed_streams() -> None:
    """Let no file that is opened take the number of a standard stream that was closed."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # the lowest number that is free
    if sys.stderr is None:
        sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  (for good)


def _guarded(args: list[str] | None) -> int:
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a name that the terminal cannot show
    try:
        status = _run(args)
        if isinstance(sys.stdout, io.TextIOBase):  # None where it was closed from the start
            sys.stdout.flush()
    except BrokenPipeError:
        status = _unread()
    except OSError as error:
        if _without_folder():
            return _say("the working folder no longer exists; change to another one", _WRONG)
        status = _say(f"the output cannot be written: {error.strerror}", _unread())
    return status


def _without_folder() -> bool:
    try:
        Path.cwd()
    except OSError:
        return True
    return False


def _run(args: list[str] | None) -> int:
    try:
        result = _wavesim.main(args, prog_name="wavesim", standalone_mode=False)
        return result if isinstance(result, int) else 0
    except OSError:  # of standard output: everything else is reported by the stages
        raise
    except click.Abort as error:
        if isinstance(error.__cause__, EOFError):  # click takes it for an interrupt
            return _internal(error.__cause__)
        return _interrupted()
    except click.ClickException as error:
        return _say(_usage(error), _WRONG)
    except WavesimError as error:
        _trace()
        return _say(str(error), error.exit_status)
    except MemoryError:
        _trace()
        return _say("there is not enough free memory for this scene", _FAILED)
    except Exception as error:
        struck = signals.status()
        return _internal(error) if struck is None else _say("interrupted", struck)


def _interrupted() -> int:
    """Tell of it once, however often it is asked for."""
    signals.rest()
    return _say("interrupted", _INTERRUPTED)


def _internal(error: BaseException) -> int:
    """Tell of an exception that nobody expected."""
    _trace()
    what = f"{type(error).__name__}: {error}"
    where = "" if _debugging() else " (wavesim --debug ... shows where)"
    return _say(f"an error in wavesim itself, please report it: {what}{where}", _FAILED)


def _usage(error: click.ClickException) -> str:
    message = error.format_message().rstrip(".")
    context = getattr(error, "ctx", None)
    stray = re.fullmatch(r"Got unexpected extra arguments? \((.*)\)", message)
    if stray:
        message = (
            f'unexpected argument {stray[1]!r}; a quantity with its unit goes in quotes: "9.3 mm"'
        )
    elif isinstance(error, click.MissingParameter) and context is not None:
        message += f"; expected a line such as: {first_example(context.command)}"
    command = "wavesim" if context is None else context.command_path
    return f"{message[0].lower()}{message[1:]}; see {command} --help"


def _say(message: str, status: int) -> int:
    click.echo(f"wavesim: {one_line(message, _LONGEST)}", err=True)
    return status


def _debugging() -> bool:
    return os.environ.get("WAVESIM_DEBUG", "") not in ("", "0")


def _trace() -> None:
    if _debugging():
        traceback.print_exc()


def _unread() -> int:
    """Keep the interpreter from writing to a closed pipe once more as it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return _FAILED
