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
    plate_named,
    print_parts,
    progress,
    scene_named,
)
from wavesim.cli.options import (
    PITCH,
    WAVELENGTH,
    Amount,
    NumberOption,
    Output,
    Typed,
    Whole,
    examples,
    json_option,
)
from wavesim.errors import InputError

if TYPE_CHECKING:
    from wavesim.lightpath import ExposedPlate
    from wavesim.measuring import (
        CircleTable,
        Instrument,
        Known,
        Measurement,
        Profile,
        Scan,
        SolvedInstrument,
        Task,
    )
    from wavesim.scene import Scene


class _KnownLine(Typed):
    """A letter, a wavelength, or either "@" the point where it stands -> Known."""

    name = "line"
    shown = "LINE"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> Known:
        """The known line, of order 1."""
        from wavesim.measuring import Known, letter_m

        line, _, position = (part.strip() for part in str(value).partition("@"))
        near = _PLACE.convert(position, param, ctx) if position else None
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
_PART = NumberOption(0, 1)
_UNKNOWN = ("pitch", "focal", "incidence", "viewing", "origin", "distortion", "centring")
_ELEMENTS = ("sun", "H", "He", "Na", "Hg", "Cd", "Ne", "none")
_PICTURES = (".png", ".tif", ".tiff", ".jpg", ".jpeg", ".bmp")
_OF_PICTURES = ("pixel", "left", "rows", "encoding", "distortion_error")
_OF_CIRCLES = ("file", "circle", "pitch", "pitch_error", "incidence", "reading_error", "unknown",
               "table", "as_json")  # fmt: skip

_EPILOG = examples(
    "wavesim expose scenes/grating_600.toml -o sun.h5 --png sun.png",
    "wavesim measure sun.h5 --csv lines.csv",
    "wavesim measure sun.h5 --reference D1 --reference C --solve pitch",
    'wavesim measure sun.png --element sun --pixel "80 um" --density "600 / mm" \\\n'
    '    --camera "1 m" --viewing "19.3 deg"',
    "wavesim measure scenes/circle_known.csv --circle --solve incidence \\\n"
    '    --reading-error "5 arcsec"',
    'wavesim measure scenes/circle.csv --circle --density "600 / mm" \\\n'
    '    --reading-error "5 arcsec"',
)


@click.command(short_help="Find the lines of a plate and their wavelengths.", epilog=_EPILOG)
@click.argument("file", metavar="FILE")
@click.option("--dark/--bright", "dark", default=None,
              help="Search for dark or bright lines. Default: as the source requires.")  # fmt: skip
@click.option("--element", type=click.Choice(_ELEMENTS),
              help="Identify the lines from this list. Default: that of the source.")  # fmt: skip
@click.option("--order", type=Whole(), metavar="M", help="The order of all lines, if it is known.")
@click.option("--least", type=_PART,
              help="Weakest line to measure: its height relative to the brightest line; for dark "
                  "lines, the fraction of the light that is removed.")  # fmt: skip
@click.option("--density", "--pitch", "pitch", type=PITCH, multiple=True, callback=_once,
              help="Groove density, or pitch.")  # fmt: skip
@click.option("--pitch-error", type=_PART, default=0.0,
              help="Its relative standard uncertainty.")  # fmt: skip
@click.option("--distortion-error", type=_PART, default=1e-3, show_default=True,
              help="Standard uncertainty of a picture's scale at its edge from lens distortion, "
                  "unless that is solved for.")  # fmt: skip
@click.option("--camera", type=_FOCAL, help="Focal length of the camera.")
@click.option("--incidence", type=_ANGLE, help="Angle of incidence.")
@click.option("--viewing", type=_ANGLE,
              help="Diffraction angle of the camera's axis. Default: that of the zero order."
              )  # fmt: skip
@click.option("--pixel", type=_PIXEL, help="Size of a picture's pixel on the plate.")
@click.option("--left", type=_PLACE,
              help="x of a picture's left edge. Default: x = 0 in its middle.")  # fmt: skip
@click.option("--rows", type=(_PART, _PART), metavar="FROM TO",
              help="Rows of a picture to average, as fractions of its height.")  # fmt: skip
@click.option("--encoding", metavar="NAME", default="srgb", show_default=True,
              help="How a picture's values encode light: srgb, linear, or an exponent such as "
                  "2.2.")  # fmt: skip
@click.option("--reference", "references", type=_KnownLine(), multiple=True,
              help='A known line: a Fraunhofer letter (D1), a wavelength ("546.075 nm"), or '
              'either with its position ("D1 @ 24.7 mm"); may be repeated.')  # fmt: skip
@click.option("--solve", "unknown", multiple=True, type=click.Choice(_UNKNOWN),
              help="Quantity to solve for from the known lines, or from those of --element; may be "
              "repeated.")  # fmt: skip
@click.option("--circle", is_flag=True, help="FILE is a table of settings of a divided circle.")
@click.option("--reading-error", type=_READING, default="1 arcsec", show_default=True,
              help="Standard uncertainty of a reading of the circle.")  # fmt: skip
@click.option("--csv", "table", type=Output(".csv"), help="File for the table.")
@click.option(
    "--all", "everything", is_flag=True, help="List unidentified lines of the Sun as well."
)
@json_option
def command(file: str, circle: bool, as_json: bool, table: Path | None, **given: Any) -> None:
    """Find the lines of FILE and give their wavelengths, identifications and uncertainties.

    FILE is a plate file (.h5, which describes its grating and bench), a scene file (.toml),
    exposed first, a picture (PNG, TIFF; needs --pixel, --density, --camera), or a CSV profile with
    the columns x_mm,value (needs --density, --camera). With --circle it is a CSV table of settings
    with the columns order,degrees,minutes,seconds,name; an additional column wavelength_nm marks
    known lines, from which the groove density follows (otherwise --density). Settings of order 0
    are not needed where lines were set on both sides.
    """
    from wavesim.measuring import CircleTable
    from wavesim.results import Sentence

    _check_options(file, circle)
    if table is not None:
        check_apart(table, file, *([scene_named(file)] if _brings_scene(file) else []))
    found = _circle(file, given) if circle else _plate(file, given)
    if table is not None:
        _write_csv(table, found.as_dicts())
    if as_json:
        echo_json({"file": file, **found.record()})
        return
    if isinstance(found, CircleTable):
        print_parts(found.report())
    else:
        print_parts([Sentence("plate", file), *found.report(everything=given["everything"])])


def _check_options(file: str, circle: bool) -> None:
    """Refuse options that would be given for nothing."""
    context = click.get_current_context()
    for param in context.command.params:
        name = str(param.name)
        if context.get_parameter_source(name) is not ParameterSource.COMMANDLINE:
            continue
        if circle and name not in _OF_CIRCLES:
            raise click.UsageError(f"{param.opts[0]} cannot be combined with --circle")
        if name == "reading_error" and not circle:
            raise click.UsageError("--reading-error needs --circle")
        if _brings_scene(file) and name in _OF_PICTURES:
            raise click.UsageError(f"{param.opts[0]} applies to pictures, and {file} is not one")


def _brings_scene(file: str) -> bool:
    return is_plate(file) or _is_scene(file)


def _is_scene(file: str) -> bool:
    return Path(file).suffix.lower() == ".toml"


def _plate(file: str, given: dict[str, Any]) -> Measurement:
    from wavesim.measuring import (
        find_references,
        measure_profile,
        shows_lines,
        solve,
        with_distortion_error,
    )
    from wavesim.measuring.plates import read, usual_task

    profile, scene = read(_source(file), _scan(file, given))
    instrument = _instrument(given, scene)
    task = replace(_task(given, usual_task(scene)), **_files(file))
    solution = None
    unknown = given["unknown"]
    if _is_picture(file) and "distortion" not in unknown:
        instrument = with_distortion_error(instrument, profile, given["distortion_error"])
    known = tuple(replace(line, order=task.order or 1) for line in given["references"])
    if known and not shows_lines(profile, instrument, task.kind):
        return measure_profile(profile, instrument, replace(task, light_m=known[0].wavelength_m))
    if unknown and not known:
        solution = _by_pattern(profile, instrument, task, unknown)
    elif known:
        wanted = unknown or ("pitch",)
        references = find_references(profile, instrument, known, kind=task.kind, unknown=wanted)
        solution = solve(references, instrument, wanted)
    if solution is not None:
        instrument = solution.instrument
        task = replace(task, zero_order=task.zero_order and "origin" not in unknown)
    return replace(measure_profile(profile, instrument, task), solution=solution)


def _files(file: str) -> dict[str, Any]:
    """The scene or the photograph that a file is, for the commands that messages propose."""
    if _is_scene(file):
        return {"scene": file}
    return {"photograph": file} if is_plate(file) or _is_picture(file) else {}


def _is_picture(file: str) -> bool:
    return Path(file).suffix.lower() in _PICTURES


def _source(file: str) -> ExposedPlate | str:
    """The plate of a scene, exposed; any other file as it is named."""
    if not _is_scene(file):
        return file
    with progress(file) as show:
        return plate_named(file, scene_named(file), show)


def _by_pattern(
    profile: Profile, instrument: Instrument, task: Task, unknown: tuple[str, ...]
) -> SolvedInstrument:
    from wavesim.measuring import solve_plate

    if task.element is None or task.element == "sun":
        raise InputError(
            "needs reference lines", key="--solve",
            expected="--reference with a known line, or --element with a lamp",
        )  # fmt: skip
    return solve_plate(profile, instrument, task.element, unknown, order=task.order or 1)


def _scan(file: str, given: dict[str, Any]) -> Scan | None:
    from wavesim.measuring import Scan

    if given["pixel"] is None:
        if _is_picture(file):
            raise InputError("is needed: a picture carries no scale", key="--pixel",
                             file=file, expected='size of a pixel: --pixel "10 um"')  # fmt: skip
        return None
    return Scan(
        pixel_m=given["pixel"],
        left_m=given["left"],
        rows=given["rows"] or (0.25, 0.75),
        encoding=given["encoding"],
    )


def _instrument(given: dict[str, Any], scene: Scene | None) -> Instrument:
    """The scene's instrument, where there is one, with what the options say instead."""
    from wavesim.measuring import Instrument, Uncertainties, of_scene

    options = {
        "pitch_m": given["pitch"],
        "focal_m": given["camera"],
        "alpha_rad": given["incidence"],
        "viewing_rad": given["viewing"],
    }
    stated = {key: value for key, value in options.items() if value is not None}
    uncertainties = Uncertainties(pitch=given["pitch_error"])
    if scene is not None:
        return replace(of_scene(scene, uncertainties=uncertainties), **stated)
    for key, option in (("pitch_m", "--density"), ("focal_m", "--camera")):
        if key not in stated:
            raise InputError(
                "is needed: this file does not describe the grating and bench", key=option,
                expected='options such as --density "600 / mm" --camera "1 m"',
            )  # fmt: skip
    stated.setdefault("viewing_rad", -stated.get("alpha_rad", 0.0))
    return Instrument(uncertainties=uncertainties, **stated)


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
    from wavesim.measuring import Circle, from_circle, read_settings

    unknown = given["unknown"]
    other = [name for name in unknown if name not in ("pitch", "incidence", "centring")]
    if other:
        raise InputError("cannot be solved for with --circle", key="--solve", value=other[0],
                         expected="pitch, incidence or centring")  # fmt: skip
    settings = read_settings(file)
    solves = "pitch" in unknown or given["pitch"] is None
    if solves and not any(s.known_m for s in settings):
        raise InputError(
            "is needed for a divided circle",
            key="--density",
            expected='a density, --density "600 / mm", or a column wavelength_nm with known lines',
        )
    circle = Circle(
        pitch_m=None if solves else given["pitch"],
        incidence_rad=given["incidence"] or 0.0,
        reading_rad=given["reading_error"],
        pitch_error=given["pitch_error"],
        incidence_error_rad=math.inf if "incidence" in unknown else 0.0,
        centring="centring" in unknown,
    )
    return from_circle(settings, circle)


def _write_csv(path: Path, rows: list[dict[str, object]]) -> None:
    import csv

    from wavesim.files import replacing

    with replacing(path) as temporary, temporary.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
