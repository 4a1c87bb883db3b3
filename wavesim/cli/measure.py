"""wavesim measure: positions on a plate become wavelengths with uncertainties."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from wavesim.cli.common import (
    check_apart,
    echo_json,
    is_plate,
    labelled,
    plate_named,
    progress,
    scene_named,
)
from wavesim.cli.options import (
    PITCH,
    WAVELENGTH,
    Amount,
    Number,
    Output,
    Typed,
    Whole,
    examples,
    json_option,
)
from wavesim.errors import InputError

if TYPE_CHECKING:
    from wavesim.lightpath import ExposedPlate
    from wavesim.scene import Scene
    from wavesim.study.measure import (
        CircleTable,
        Instrument,
        Known,
        Measurement,
        Profile,
        Scan,
        Solution,
        Task,
    )


class _KnownLine(Typed):
    """A letter, a wavelength, or either "@" the place where it stands -> Known."""

    name = "line"
    shown = "LINE"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> Known:
        """The known line, of order 1."""
        from wavesim.study.measure import Known, letter_m

        line, _, place = (part.strip() for part in str(value).partition("@"))
        near = _PLACE.convert(place, param, ctx) if place else None
        if line[:1].isdigit():
            return Known(WAVELENGTH.convert(line, param, ctx), 1, near, line)
        return Known(letter_m(line), 1, near, line)


def _once(ctx: click.Context, param: click.Parameter, values: tuple[float, ...]) -> float | None:
    if len(values) > 1:
        raise click.BadParameter("give the density or the pitch, once", ctx, param)
    return values[0] if values else None


_FOCAL = Amount("length", "1 m", 1e-3, 1e6)
_PLACE = Amount("length", "-40 mm")
_PIXEL = Amount("length", "10 um", 1e-8, 0.1)
_ANGLE = Amount("angle", "15 deg", -math.radians(89.99), math.radians(89.99))
_READING = Amount("angle", "1 arcsec", 0.0, math.radians(1))
_PART = Number(0, 1)
_MOST_ROWS = 250  # rows beyond which only the lines with letters are shown
_UNKNOWN = ("pitch", "focal", "incidence", "viewing", "origin")
_ELEMENTS = ("sun", "H", "He", "Na", "Hg", "Cd", "Ne", "none")
_PICTURES = (".png", ".tif", ".tiff", ".jpg", ".jpeg", ".bmp")
_OF_PICTURES = ("pixel", "left", "rows", "encoding")
_OF_CIRCLES = ("file", "circle", "pitch", "pitch_error", "incidence", "reading_error", "table",
               "as_json")  # fmt: skip

_EPILOG = examples(
    "wavesim expose scenes/grating_600.toml -o sun.h5 --png sun.png",
    "wavesim measure sun.h5 --csv lines.csv",
    "wavesim measure sun.h5 --reference D1 --reference C --solve pitch",
    'wavesim measure sun.png --element sun --pixel "80 um" --density "600 / mm" \\\n'
    '    --camera "1 m" --viewing "19.3 deg"',
    'wavesim measure scenes/circle.csv --circle --density "600 / mm" \\\n'
    '    --reading-error "5 arcsec"',
)


@click.command(short_help="Find the lines of a plate and their wavelengths.", epilog=_EPILOG)
@click.argument("file", metavar="FILE")
@click.option("--dark/--bright", "dark", default=None,
              help="Look for dark or bright lines. Default: what suits the source.")  # fmt: skip
@click.option("--element", type=click.Choice(_ELEMENTS),
              help="Name the lines from this list. Default: the source's own.")  # fmt: skip
@click.option(
    "--order", type=Whole(), metavar="M", help="The order of all lines, where it is known."
)
@click.option("--least", type=_PART,
              help="Smallest line to take: its height over the brightest line's; of dark lines, "
              "the part of the light that it takes away.")  # fmt: skip
@click.option("--density", "--pitch", "pitch", type=PITCH, multiple=True, callback=_once,
              help="Density of the grooves, or their pitch.")  # fmt: skip
@click.option("--pitch-error", type=_PART, default=0.0,
              help="Its standard uncertainty, as a part of it.")  # fmt: skip
@click.option("--camera", type=_FOCAL, help="Focal length of the camera.")
@click.option("--incidence", type=_ANGLE, help="Angle of incidence.")
@click.option("--viewing", type=_ANGLE,
              help="Diffraction angle where the camera looks. Default: the zero order's."
              )  # fmt: skip
@click.option("--pixel", type=_PIXEL, help="Width of a picture's pixel on the plate.")
@click.option("--left", type=_PLACE,
              help="x of a picture's left edge. Default: 0 is in its middle.")  # fmt: skip
@click.option("--rows", type=(_PART, _PART), metavar="FROM TO",
              help="Rows of a picture to average, as parts of its height: 0.25 0.75.")  # fmt: skip
@click.option("--encoding", metavar="NAME", default="srgb", show_default=True,
              help="How a picture's numbers stand for light: srgb, linear, or an exponent "
              "such as 2.2.")  # fmt: skip
@click.option("--reference", "references", type=_KnownLine(), multiple=True,
              help='A known line: Fraunhofer\'s letter (D1), a wavelength ("546.075 nm"), or '
              'either with its place ("D1 @ 24.7 mm"); may be repeated.')  # fmt: skip
@click.option("--solve", "unknown", multiple=True, type=click.Choice(_UNKNOWN),
              help="What the known lines, or those of --element, are to tell; may be "
              "repeated.")  # fmt: skip
@click.option("--circle", is_flag=True, help="FILE is a table of settings of a divided circle.")
@click.option("--reading-error", type=_READING, default="1 arcsec", show_default=True,
              help="Standard uncertainty of a reading of the circle.")  # fmt: skip
@click.option("--csv", "table", type=Output(".csv"), help="Write the table here.")
@click.option("--all", "everything", is_flag=True, help="Show unnamed lines of the Sun as well.")
@json_option
def command(file: str, circle: bool, as_json: bool, table: Path | None, **given: Any) -> None:
    """Find the lines of FILE and give their wavelengths, names and uncertainties.

    FILE is a plate file (.h5, which brings its grating and bench), a scene file (.toml), exposed
    first, a picture (PNG, TIFF; needs --pixel, --density, --camera), or a CSV profile with the
    columns x_mm,value (needs --density, --camera). With --circle it is a CSV table of settings
    with the columns order,degrees,minutes,seconds,name (needs --density).
    """
    _check_options(file, circle)
    if table is not None:
        check_apart(table, file, *([scene_named(file)] if _brings_scene(file) else []))
    if circle:
        found = _circle(file, given)
        rows = found.as_dicts()
        record: dict[str, object] = {"file": file, "settings": rows, "lines": _means(found)}
        text = circle_summary(found)
    else:
        measured, solution = _plate(file, given)
        rows = measured.as_dicts()
        record = {"file": file, **measured.record(), "solution": _solution(solution)}
        text = summary(file, measured, solution, everything=given["everything"])
    if table is not None:
        _write_csv(table, rows)
    if as_json:
        echo_json(record)
    else:
        click.echo(text)


def _check_options(file: str, circle: bool) -> None:
    """Refuse options that would be given for nothing."""
    context = click.get_current_context()
    for param in context.command.params:
        name = str(param.name)
        if context.get_parameter_source(name) is not ParameterSource.COMMANDLINE:
            continue
        if circle and name not in _OF_CIRCLES:
            raise click.UsageError(f"{param.opts[0]} does not go with --circle")
        if name == "reading_error" and not circle:
            raise click.UsageError("--reading-error goes with --circle")
        if _brings_scene(file) and name in _OF_PICTURES:
            raise click.UsageError(f"{param.opts[0]} is of pictures, and {file} is none")


def _brings_scene(file: str) -> bool:
    return is_plate(file) or _is_scene(file)


def _is_scene(file: str) -> bool:
    return Path(file).suffix.lower() == ".toml"


def _plate(file: str, given: dict[str, Any]) -> tuple[Measurement, Solution | None]:
    from wavesim.study.measure import find_references, measure_profile, solve
    from wavesim.study.measure.plates import read, usual_task

    profile, scene = read(_source(file), _scan(file, given))
    instrument = _instrument(given, scene)
    task = _task(given, usual_task(scene))
    solution = None
    unknown = given["unknown"]
    known = tuple(replace(line, order=task.order or 1) for line in given["references"])
    if unknown and not known:
        solution = _by_pattern(profile, instrument, task, unknown)
    elif known:
        wanted = unknown or ("pitch",)
        references = find_references(profile, instrument, known, kind=task.kind, unknown=wanted)
        solution = solve(references, instrument, wanted)
    if solution is not None:
        instrument = solution.instrument
        task = replace(task, zero_order=task.zero_order and "origin" not in unknown)
    return measure_profile(profile, instrument, task), solution


def _source(file: str) -> ExposedPlate | str:
    """The plate of a scene, exposed; any other file as it is named."""
    if not _is_scene(file):
        return file
    with progress(file) as show:
        return plate_named(file, scene_named(file), show)


def _by_pattern(
    profile: Profile, instrument: Instrument, task: Task, unknown: tuple[str, ...]
) -> Solution:
    from wavesim.study.measure import solve_plate

    if task.element is None or task.element == "sun":
        raise InputError(
            "needs lines to go by", key="--solve",
            expected="--reference with a known line, or --element with a lamp",
        )  # fmt: skip
    return solve_plate(profile, instrument, task.element, unknown, order=task.order or 1)


def _scan(file: str, given: dict[str, Any]) -> Scan | None:
    from wavesim.study.measure import Scan

    if given["pixel"] is None:
        if Path(file).suffix.lower() in _PICTURES:
            raise InputError("is needed: a picture has no scale of its own", key="--pixel",
                             file=file, expected='such as --pixel "10 um"')  # fmt: skip
        return None
    return Scan(
        pixel_m=given["pixel"],
        left_m=given["left"],
        rows=given["rows"] or (0.25, 0.75),
        encoding=given["encoding"],
    )


def _instrument(given: dict[str, Any], scene: Scene | None) -> Instrument:
    """The scene's instrument, where there is one, with what the options say instead."""
    from wavesim.study.measure import Doubt, Instrument, of_scene

    options = {
        "pitch_m": given["pitch"],
        "focal_m": given["camera"],
        "alpha_rad": given["incidence"],
        "viewing_rad": given["viewing"],
    }
    said = {key: value for key, value in options.items() if value is not None}
    doubt = Doubt(pitch=given["pitch_error"])
    if scene is not None:
        return replace(of_scene(scene, doubt=doubt), **said)
    for key, option in (("pitch_m", "--density"), ("focal_m", "--camera")):
        if key not in said:
            raise InputError(
                "is needed: this file tells nothing of the grating and bench", key=option,
                expected='such as --density "600 / mm" --camera "1 m"',
            )  # fmt: skip
    said.setdefault("viewing_rad", -said.get("alpha_rad", 0.0))
    return Instrument(doubt=doubt, **said)


def _task(given: dict[str, Any], usual: Task) -> Task:
    changes: dict[str, Any] = {"order": given["order"], "least": given["least"]}
    if given["dark"] is not None:
        changes["kind"] = "dark" if given["dark"] else "bright"
    if given["element"] is not None:
        changes["element"] = None if given["element"] == "none" else given["element"]
    if changes.get("element") == "sun" and given["dark"] is None:
        changes["kind"] = "dark"
    return replace(usual, **changes)


def _circle(file: str, given: dict[str, Any]) -> CircleTable:
    from wavesim.study.measure import Circle, from_circle, read_settings

    if given["pitch"] is None:
        raise InputError(
            "is needed to read a circle", key="--density", expected='such as --density "600 / mm"'
        )
    circle = Circle(
        pitch_m=given["pitch"],
        incidence_rad=given["incidence"] or 0.0,
        reading_rad=given["reading_error"],
        pitch_error=given["pitch_error"],
    )
    return from_circle(read_settings(file), circle)


def _means(found: CircleTable) -> list[dict[str, object]]:
    from wavesim.study.rows import plain

    return [plain(row) for row in found.means]


def _solution(solution: Solution | None) -> object:
    from wavesim.study.rows import plain

    return None if solution is None else plain(solution)


def _write_csv(path: Path, rows: list[dict[str, object]]) -> None:
    import csv

    from wavesim.files import replacing

    with replacing(path) as temporary, temporary.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def summary(
    file: str, measured: Measurement, solution: Solution | None, *, everything: bool = False
) -> str:
    """The measurement in plain words and a table."""
    head = [("plate", file)]
    head.append(("lines", _counts(measured)))
    if solution is not None:
        head.append(("solved", _solved(solution)))
    if abs(measured.turned_rad) > 0:
        head.append(("rotation", f"{measured.turned_rad * 57.29578:.3f} degrees, taken out"))
    head += [
        ("error", f"period {p.rulings:.4g} rulings, amplitude {p.amplitude_m * 1e9:.3g} nm "
                  f"(shown by {p.lines} lines in {p.orders} order{'s' * (p.orders > 1)})")
        for p in measured.periods
    ]  # fmt: skip
    head += [("note", note) for note in measured.notes]
    short = everything or len(measured) <= _MOST_ROWS
    shown = [r for r in measured.rows if short or _lettered(r.name)] or list(measured.rows)
    if len(shown) < len(measured):
        head.append(("shown", f"{len(shown)} of {len(measured)} lines; --all shows all"))
    return labelled(head) + "\n\n" + _table(shown)


def _lettered(name: str) -> bool:
    return "(" in name


def _counts(measured: Measurement) -> str:
    kinds: dict[str, int] = {}
    for row in measured.rows:
        kinds[row.kind] = kinds.get(row.kind, 0) + 1
    named = sum(bool(r.name) for r in measured.rows)
    parts = [f"{n} {_plural(kind, n)}" for kind, n in kinds.items()]
    return ", ".join(parts) + f"; {named} named"


def _plural(kind: str, count: int) -> str:
    if count == 1:
        return kind
    return "subsidiary maxima" if kind == "subsidiary maximum" else f"{kind}s"


def _solved(solution: Solution) -> str:
    parts = []
    for field, error in solution.uncertainty.items():
        value = getattr(solution.instrument, field)
        if field.endswith("_rad"):
            parts.append(f"{field[:-4]} = {value * 57.29578:.6f} +- {error * 57.29578:.1g} deg")
        elif field == "pitch_m":
            parts.append(f"pitch = {value * 1e6:.7f} +- {error * 1e6:.1g} um "
                         f"({1e-3 / value:.5f} / mm)")  # fmt: skip
        else:
            parts.append(f"{field[:-2]} = {value * 1e3:.5f} +- {error * 1e3:.1g} mm")
    used = f"from {sum(solution.used)} lines"
    if solution.rejected:
        used += f"; rejected: {', '.join(solution.rejected)}"
    if not solution.checked:
        used += "; no line to spare as a check"
    return ", ".join(parts) + " " + used


def _table(rows: list) -> str:  # type: ignore[type-arg]
    title = (f"{'x':>11} {'order':>5} {'wavelength':>12} {'+-':>9} {'height':>8}  "
             f"{'what it is':<22} remarks")  # fmt: skip
    unit = f"{'mm':>11} {'':>5} {'nm':>12} {'nm':>9}"
    lines = [title, unit]
    for r in rows:
        read = "" if r.wavelength_m is None else f"{r.wavelength_m * 1e9:.4f}"
        error = "" if r.uncertainty_m is None else f"{r.uncertainty_m * 1e9:.4f}"
        order = str(r.order) if r.order else ""
        lines.append(
            f"{r.x_m * 1e3:>11.4f} {order:>5} {read:>12} {error:>9} {r.height:>8.2g}  "
            f"{_what(r):<22} {_remarks(r)}".rstrip()
        )
    return "\n".join(lines)


def _what(row) -> str:  # type: ignore[no-untyped-def]
    if row.kind == "ghost":
        return f"ghost of {row.ghost_of_m * 1e9:.2f}"
    return str(row.name or row.kind)


def _remarks(row) -> str:  # type: ignore[no-untyped-def]
    words = []
    if row.confirmed:
        words.append("in two orders")
    if row.other_orders:
        words.append("or order " + ", ".join(str(m) for m in row.other_orders))
    words += [word for word, on in (("blend", row.blended), ("clipped", row.saturated)) if on]
    return ", ".join(words)


def circle_summary(found: CircleTable) -> str:
    """Settings and lines as two tables."""
    lines = [labelled([("zero", f"the straight-through image reads {_dms(found.zero_rad)}")]), ""]
    lines.append(f"{'line':<16} {'order':>5} {'turn':>15} {'nm':>11} {'+-':>8}")
    for r in found.rows:
        lines.append(f"{r.name:<16} {r.order:>5} {_dms(r.turn_rad):>15} "
                     f"{r.wavelength_m * 1e9:>11.4f} {r.uncertainty_m * 1e9:>8.4f}")  # fmt: skip
    head = f"{'mean of a line':<16} {'settings':>8} {'nm':>11} {'+-':>8} {'of it pitch':>12}"
    lines += ["", head]
    for r in found.means:
        lines.append(f"{r.name:<16} {r.settings:>8} {r.wavelength_m * 1e9:>11.4f} "
                     f"{r.uncertainty_m * 1e9:>8.4f} {r.u_pitch_m * 1e9:>12.4f}")  # fmt: skip
    return "\n".join(lines)


def _dms(angle_rad: float) -> str:
    seconds = abs(angle_rad) * 206_264.806_247
    sign = "-" if angle_rad < 0 else ""
    whole = round(seconds, 1)
    return f"{sign}{int(whole // 3600)} {int(whole % 3600 // 60):02d}' {whole % 60:04.1f}\""
