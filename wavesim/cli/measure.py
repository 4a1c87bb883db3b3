"""wavesim measure: positions on a plate become wavelengths with uncertainties."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import (
    PLATE_ENDINGS,
    check_apart,
    check_ending,
    check_output,
    echo_json,
    json_option,
    labelled,
)
from wavesim.cli.sheet import scene_named
from wavesim.errors import InputError

if TYPE_CHECKING:
    from wavesim.study.measure import (
        CircleTable,
        Instrument,
        Known,
        Measurement,
        Profile,
        Solution,
        Task,
    )


class Amount(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """A number with its unit, such as "10 um"; becomes SI."""

    def __init__(self, dimension: str, example: str) -> None:
        self.name = f'"{example}"'
        self.dimension, self.example = dimension, example

    def get_metavar(
        self,
        param: click.Parameter,  # noqa: ARG002
        ctx: click.Context | None = None,  # noqa: ARG002
    ) -> str:
        """The example, as it is."""
        return self.name

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Text to SI number."""
        from wavesim.scene.units import UnitError, measure

        if isinstance(value, float):
            return value
        try:
            found = measure(str(value))
        except UnitError as error:
            self.fail(f"{value!r} {error}; expected {self.name}", param, ctx)
        if found.dimension != self.dimension:
            self.fail(f"{value!r} is no {self.dimension}; expected {self.name}", param, ctx)
        return found.value


LENGTH = Amount("length", "1 m")
ANGLE = Amount("angle", "15 deg")
_MOST_ROWS = 250  # rows beyond which only the lines with letters are shown
_UNKNOWN = ("pitch", "focal", "incidence", "viewing", "origin")
_ELEMENTS = ("sun", "H", "He", "Na", "Hg", "Cd", "Ne", "none")

_EPILOG = (
    "Example: wavesim measure sun.h5 --dark --reference D1 --reference C --solve pitch     "
    "A picture: wavesim measure scan.png --pixel '10 um' --density '600 / mm' --camera '1 m' "
    "--element Hg     A divided circle: wavesim measure settings.csv --circle --density '600 / mm'"
)


@click.command(epilog=_EPILOG)
@click.argument("file", metavar="FILE")
@click.option("--dark/--bright", "dark", default=None, help="Dark or bright lines.")
@click.option("--element", type=click.Choice(_ELEMENTS), help="Line list for names.")
@click.option("--order", type=int, help="The order of all lines, where it is known.")
@click.option("--least", type=float, help="Smallest line (part of the brightest, or of the light).")
@click.option("--density", type=Amount("lines per length", "600 / mm"), help="Groove density.")
@click.option("--pitch", type=LENGTH, help="Pitch, instead of the density.")
@click.option("--pitch-error", type=float, default=0.0, help="Its relative standard uncertainty.")
@click.option("--camera", type=LENGTH, help="Focal length of the camera.")
@click.option("--incidence", type=ANGLE, help="Angle of incidence.")
@click.option("--viewing", type=ANGLE, help="Diffraction angle of the camera's axis.")
@click.option("--pixel", type=Amount("length", "10 um"), help="Width of a picture's pixel.")
@click.option("--left", type=LENGTH, help="x of a picture's left edge; default: 0 in its middle.")
@click.option("--rows", type=(float, float), help="Band of rows, as two parts of the height.")
@click.option("--encoding", default="srgb", help="A picture's: srgb, linear or an exponent.")
@click.option("--reference", "references", multiple=True, metavar="LINE",
              help="A known line: Fraunhofer's letter, a wavelength, or either '@ x'.")  # fmt: skip
@click.option("--solve", "unknown", multiple=True, type=click.Choice(_UNKNOWN),
              help="What the known lines are to tell; may be repeated.")  # fmt: skip
@click.option("--circle", is_flag=True, help="FILE is a table of settings of a divided circle.")
@click.option("--reading-error", type=Amount("angle", "1 arcsec"), default="1 arcsec",
              help="Standard uncertainty of a reading of the circle.")  # fmt: skip
@click.option("--csv", "table", type=click.Path(path_type=Path), help="Write the table here.")
@click.option("--all", "everything", is_flag=True, help="Show unnamed lines of the Sun as well.")
@json_option
def command(file: str, circle: bool, as_json: bool, table: Path | None, **given: object) -> None:
    """Measure FILE: find its lines and give their wavelengths, names and uncertainties.

    FILE is a plate file (which brings its grating and bench), a picture (PNG, TIFF; --pixel gives
    its scale), or a CSV profile with the columns x_mm,value. With --circle it is a table with the
    columns order,degrees,minutes,seconds,name.
    """
    if table is not None:
        check_ending(table, (".csv",))
        check_output(table)
        brings_scene = Path(file).suffix.lower() in PLATE_ENDINGS
        check_apart(table, file, *([scene_named(file)] if brings_scene else []))
    if circle:
        found = _circle(file, given)
        rows = found.as_dicts()
        record: dict[str, object] = {"file": file, "settings": rows, "lines": _means(found)}
        text = circle_summary(found)
    else:
        measured, solution = _plate(file, given)
        rows = measured.as_dicts()
        record = {"file": file, **measured.record(), "solution": _solution(solution)}
        text = summary(file, measured, solution, everything=bool(given["everything"]))
    if table is not None:
        _write_csv(table, rows)
    if as_json:
        echo_json(record)
    else:
        click.echo(text)


def _plate(file: str, given: dict[str, object]) -> tuple[Measurement, Solution | None]:
    from wavesim.study.measure import find_references, measure_profile, solve
    from wavesim.study.measure.plates import read, usual_task

    profile, scene = read(file, _scan(given))
    instrument = _instrument(given, scene)
    task = _task(given, usual_task(scene))
    solution = None
    unknown = tuple(str(u) for u in given["unknown"])  # type: ignore[attr-defined]
    known = tuple(_known(str(text), task.order or 1) for text in given["references"])  # type: ignore[attr-defined]
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


def _scan(given: dict[str, object]):  # type: ignore[no-untyped-def]
    from wavesim.study.measure import Scan

    if given["pixel"] is None:
        return None
    encoding = str(given["encoding"])
    return Scan(
        pixel_m=given["pixel"],  # type: ignore[arg-type]
        left_m=given["left"],  # type: ignore[arg-type]
        rows=given["rows"] or (0.25, 0.75),  # type: ignore[arg-type]
        encoding=encoding,
    )


def _instrument(given: dict[str, object], scene: object) -> Instrument:
    """The scene's instrument, where there is one, with what the options say instead."""
    from wavesim.study.measure import Doubt, Instrument, of_scene

    pitch = given["pitch"]
    if given["density"] is not None:
        pitch = 1 / given["density"]  # type: ignore[operator]
    options = {
        "pitch_m": pitch,
        "focal_m": given["camera"],
        "alpha_rad": given["incidence"],
        "viewing_rad": given["viewing"],
    }
    said = {key: value for key, value in options.items() if value is not None}
    doubt = Doubt(pitch=float(given["pitch_error"]))  # type: ignore[arg-type]
    if scene is not None:
        return replace(of_scene(scene, doubt=doubt), **said)  # type: ignore[arg-type]
    for key, option in (("pitch_m", "--density"), ("focal_m", "--camera")):
        if key not in said:
            raise InputError(
                "is needed: this file tells nothing of the grating and bench", key=option,
                expected='such as --density "600 / mm" --camera "1 m"',
            )  # fmt: skip
    if "viewing_rad" not in said:
        said["viewing_rad"] = -float(said.get("alpha_rad", 0.0))  # type: ignore[arg-type]
    return Instrument(doubt=doubt, **said)  # type: ignore[arg-type]


def _task(given: dict[str, object], usual: Task) -> Task:
    changes: dict[str, object] = {"order": given["order"], "least": given["least"]}
    if given["dark"] is not None:
        changes["kind"] = "dark" if given["dark"] else "bright"
    if given["element"] is not None:
        changes["element"] = None if given["element"] == "none" else given["element"]
    if changes.get("element") == "sun" and given["dark"] is None:
        changes["kind"] = "dark"
    return replace(usual, **changes)  # type: ignore[arg-type]


def _known(text: str, order: int) -> Known:
    """A letter, a wavelength, or either "@" the place where it stands."""
    from wavesim.study.measure import Known, letter_m

    line, _, place = (part.strip() for part in text.partition("@"))
    near = LENGTH.convert(place, None, None) if place else None
    wavelength = LENGTH.convert(line, None, None) if line[:1].isdigit() else letter_m(line)
    return Known(wavelength, order, near, line)


def _circle(file: str, given: dict[str, object]) -> CircleTable:
    from wavesim.study.measure import Circle, from_circle, read_settings

    pitch = given["pitch"]
    if given["density"] is not None:
        pitch = 1 / given["density"]  # type: ignore[operator]
    if pitch is None:
        raise InputError(
            "is needed to read a circle", key="--density", expected='such as --density "600 / mm"'
        )
    circle = Circle(
        pitch_m=pitch,  # type: ignore[arg-type]
        incidence_rad=given["incidence"] or 0.0,  # type: ignore[arg-type]
        reading_rad=given["reading_error"],  # type: ignore[arg-type]
        pitch_error=float(given["pitch_error"]),  # type: ignore[arg-type]
    )
    return from_circle(read_settings(file), circle)


def _means(found: CircleTable) -> list[dict[str, object]]:
    from wavesim.study.measure.rows import plain

    return [plain(row) for row in found.means]


def _solution(solution: Solution | None) -> object:
    from wavesim.study.measure.rows import plain

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
