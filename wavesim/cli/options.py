"""The values that options take, the options that several commands share, examples for help."""

from __future__ import annotations

import functools
import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from click.core import ParameterSource

from wavesim.errors import OutputError
from wavesim.files import check_ending, refuse_no_file

if TYPE_CHECKING:
    from wavesim.figures import Size
    from wavesim.scene.units import Measured

_Command = TypeVar("_Command", bound=Callable[..., object])

FIGURES = (".png", ".pdf", ".svg")
PLATES = (".h5", ".hdf5", ".nxs")


class Typed(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """A value whose help shows `shown`: how it is typed."""

    shown = ""

    def get_metavar(
        self,
        param: click.Parameter,  # noqa: ARG002  (click's signature)
        ctx: click.Context | None = None,  # noqa: ARG002
    ) -> str:
        """As it is typed, in its own letters."""
        return self.shown


class Amount(Typed):
    """A text with its unit, such as "10 um" -> SI; from `low` to `high` [SI], both allowed."""

    name = "quantity"

    def __init__(
        self, dimension: str, example: str, low: float = -math.inf, high: float = math.inf
    ) -> None:
        self.dimension, self.example, self.low, self.high = dimension, example, low, high
        self.kind = f"{'an' if dimension[0] in 'aeiou' else 'a'} {dimension}"
        self.shown = f'"{example}"'

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The value in SI; refuses a bare number, another dimension, and what is out of range."""
        from wavesim.scene.quantities import show
        from wavesim.scene.units import UnitError, measure

        if isinstance(value, float):
            return value
        try:
            found = self._read(measure(str(value)))
        except UnitError as error:
            self.fail(f'"{value}" {error}; expected {self.kind} such as {self.shown}', param, ctx)
        if not self.low <= found <= self.high:
            low, high = show(self.low, self.dimension), show(self.high, self.dimension)
            self.fail(f'"{value}" is out of range; expected from {low} to {high}', param, ctx)
        return found

    def _read(self, found: Measured) -> float:
        from wavesim.scene.quantities import a
        from wavesim.scene.units import UnitError

        if found.dimension != self.dimension:
            raise UnitError(f"is {a(found.dimension)}, not {a(self.dimension)}")
        return found.value


class Pitch(Amount):
    """A pitch, or a groove density -> pitch [m]."""

    def __init__(self) -> None:
        super().__init__("length", "600 / mm", 1e-8, 1e-2)
        self.kind = "a density or pitch"

    def _read(self, found: Measured) -> float:
        if found.dimension == "lines per length":
            return 1 / found.value if found.value else math.inf
        return super()._read(found)


class NumberOption(Typed):
    """A number without a unit, or a part in percent; `open_` leaves out the limits themselves."""

    name = "number"
    shown = "NUMBER"

    def __init__(self, low: float, high: float = math.inf, *, open_: bool = False) -> None:
        self.low, self.high, self.open = low, high, open_

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The number; refuses texts, and what is out of range."""
        number = value if isinstance(value, float) else _number(str(value))
        limits = number in (self.low, self.high) and self.open
        if number is None or limits or not self.low <= number <= self.high:
            what = "is not a number" if number is None else "is out of range"
            self.fail(f'"{value}" {what}; expected {self._range()}', param, ctx)
        return number

    def _range(self) -> str:
        if math.isinf(self.high):
            return f"a number {'above' if self.open else 'of at least'} {self.low:g}"
        joined = "between {:g} and {:g}" if self.open else "from {:g} to {:g}"
        return "a number " + joined.format(self.low, self.high)


def _number(text: str) -> float | None:
    """The number, "1 %" as 0.01; None for anything else."""
    try:
        number = float(text.removesuffix("%")) / (100 if text.endswith("%") else 1)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


class Whole(Typed):
    """A whole number."""

    name = "whole number"
    shown = "NUMBER"

    def __init__(self, low: int = -1_000_000, high: int = 1_000_000) -> None:
        self.low, self.high = low, high

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> int:
        """The number; refuses texts, parts, and what is out of range."""
        try:
            number = int(str(value))
        except ValueError:
            self.fail(f'"{value}" is not a whole number; expected one such as 2', param, ctx)
        if not self.low <= number <= self.high:
            allowed = f"from {self.low:,} to {self.high:,}"
            self.fail(f'"{value}" is out of range; expected {allowed}', param, ctx)
        return number


class Output(Typed):
    """The name of a file to write, refused before any work is done if it cannot be."""

    name = "file"

    def __init__(self, *endings: str) -> None:
        self.endings = endings
        self.shown = "FILE" if len(endings) > 1 and endings != PLATES else f"FILE{endings[0]}"

    def convert(
        self,
        value: object,
        param: click.Parameter | None,  # noqa: ARG002
        ctx: click.Context | None,  # noqa: ARG002
    ) -> Path:
        """The path. Raises OutputError."""
        return writable(Path(str(value)), self.endings)


def writable(path: Path, endings: tuple[str, ...]) -> Path:
    """The path, if a file of that name can be written.

    Raises
    ------
    OutputError
        The name has none of the endings, the folder is missing or read-only, or the name is a
        folder or a device.
    """
    check_ending(path, endings)
    folder = path.absolute().parent
    if not folder.is_dir():
        raise OutputError(f"there is no folder {folder}", file=path, expected="an existing folder")
    refuse_no_file(path)
    if not os.access(folder, os.W_OK | os.X_OK):
        raise OutputError(f"the folder {folder} is read-only", file=path, expected="another folder")
    return path


json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON object instead of sentences."
)
workers_option = click.option(
    "--workers", type=Whole(1, 1024), default=1, show_default=True,
    help='Processes that share the work; more than 1 needs pip install "wavesim[studies]".',
)  # fmt: skip
WAVELENGTH = Amount("length", "546.1 nm", 200e-9, 20e-6)
PITCH = Pitch()


def line_options(command: _Command) -> _Command:
    """--wavelength and --order: which line of a scene is meant."""
    wavelength = click.option(
        "--wavelength", type=WAVELENGTH,
        help="Wavelength in air. Default: the source's strongest line, or the middle of its "
            "spectrum.",
    )  # fmt: skip
    order = click.option(
        "--order",
        type=Whole(),
        metavar="M",
        default=1,
        show_default=True,
        help="Order of the line.",
    )
    return wavelength(order(command))


@dataclass(frozen=True)
class Look:
    """How a figure is to look: --size, --bar and --no-caution as they were given."""

    size: str
    bar: bool
    no_caution: bool

    def of_figure(self) -> Size:
        """The size that the figures know. Raises InputError: a bar on what is not printed."""
        from wavesim.figures import size_for

        return size_for(self.size, caution=not self.no_caution, bar=self.bar)


def look_options(size: str, needs: str = "") -> Callable[[_Command], Callable[..., object]]:
    """--size, --bar and --no-caution, which the command takes as its `look`.

    `needs` names the option that draws, without which these are refused.
    """
    sizes = click.option(
        "--size", type=click.Choice(["page", "a4", "letter", "slide", "web"]), default=size,
        show_default=True,
        help="Size for a page of text, a sheet of A4 or letter paper, a projector or a screen.",
    )  # fmt: skip
    bar = click.option(
        "--bar", is_flag=True, help="Add a bar of 100 mm, to check the scale of a print."
    )
    caution = click.option(
        "--no-caution", is_flag=True,
        help="Omit the caution from the picture; it is still printed as text.",
    )  # fmt: skip
    return lambda command: sizes(bar(caution(_with_look(command, needs))))


_LOOK = ("size", "bar", "no_caution")


def _with_look(command: Callable[..., object], needs: str) -> Callable[..., object]:
    @functools.wraps(command)
    def called(**given: Any) -> object:
        if needs and not given[needs]:
            _refuse_given(_LOOK, f"--{needs}")
        look = Look(*(given.pop(key) for key in _LOOK))
        if look.bar:
            look.of_figure()  # says before the work what cannot have one
        return command(look=look, **given)

    return called


def _refuse_given(keys: tuple[str, ...], needed: str) -> None:
    """Refuse options that would change nothing."""
    ctx = click.get_current_context()
    for key in keys:
        if ctx.get_parameter_source(key) is ParameterSource.COMMANDLINE:
            raise click.UsageError(f"--{key.replace('_', '-')} needs {needed}")


def figure_options(name: str, size: str, *endings: str) -> Callable[[_Command], Any]:
    """-o and --title of a command that draws, and how its figure looks."""
    output = click.option(
        "-o", "output", type=Output(*endings), default=name, show_default=True,
        help=f"File to write: {', '.join(endings[:-1])} or {endings[-1]}.",
    )  # fmt: skip
    title = click.option("--title", metavar="WORDS", default="", help="Title above the picture.")
    look = look_options(size)
    return lambda command: output(title(look(command)))


def refuse_repetition(option: click.Option) -> None:
    """Have an option that takes one value refuse a second one, instead of dropping the first.

    Safe to repeat on the same option.
    """
    if getattr(option, "refuses_repetition", False):
        return
    added = option.add_to_parser

    def add_to_parser(parser: Any, ctx: click.Context) -> None:
        added(parser, ctx)
        for name in option.opts:
            stored = (parser._long_opt | parser._short_opt).get(name)
            if stored is not None:
                stored.process = _once(option, stored.process, ctx)

    vars(option).update(refuses_repetition=True, add_to_parser=add_to_parser)


def _once(
    option: click.Option, process: Callable[[Any, Any], None], ctx: click.Context
) -> Callable[[Any, Any], None]:
    def store(value: Any, state: Any) -> None:
        if option.name in state.opts:
            raise click.UsageError(f"{option.opts[0]} is given twice; expected it once", ctx)
        process(value, state)

    return store


def examples(*commands: str) -> str:
    """The end of a help page: commands as they are typed, a command's lines joined by newlines."""
    lines = [f"  {line}" for command in commands for line in command.split("\n")]
    return "\n".join(["\b", "Example:" if len(commands) == 1 else "Examples:", *lines])


def first_example(command: click.Command) -> str:
    """The first line of a command's examples."""
    return (command.epilog or "").split("\n")[2].strip(" \\")
