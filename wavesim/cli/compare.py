"""wavesim compare: the engine against textbook formulas, and where each fails."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wavesim.cli.common import Progress, echo_result, name_of, print_result, progress, scene_named
from wavesim.cli.options import (
    FIGURES,
    PLATES,
    Look,
    NumberOption,
    Output,
    Whole,
    examples,
    json_option,
    look_options,
    workers_option,
    writable,
)
from wavesim.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from wavesim.arrays import Floats
    from wavesim.scene import Scene
    from wavesim.scene.units import Measured
    from wavesim.study.compare import Comparison, FormulaComparisons
    from wavesim.study.mapping import Mapping

_ENDS = {"first": "from", "last": "to"}
_NAMES = (
    "small-angles", "order-places", "far-field", "n-slits", "narrow-slit", "one-wavelength",
    "rayleigh", "ghosts-small", "ghosts-bessel", "diffuse-small", "diffuse-mean", "missing-orders",
    "scalar-efficiency", "scalar-efficiency-across",
)  # fmt: skip


@click.command(
    epilog=examples(
        "wavesim compare scenes/slits_005.toml -o five.h5 --figure five.png",
        "wavesim compare scenes/slits_005.toml --only small-angles --tolerance 0.1%",
        "wavesim compare scenes/slits_005.toml --only small-angles \\\n"
        '    --vary aperture.pitch --from "45 um" --to "200 um"',
    )
)
@click.argument("scene_file", metavar="SCENE")
@click.option("--tolerance", type=NumberOption(0, 1, open_=True), default=0.01, show_default=True,
              help="Relative error at which a formula counts as failing.")  # fmt: skip
@click.option("--only", multiple=True, metavar="NAME",
              help=f"Only this formula ({', '.join(_NAMES)}); may be repeated.")  # fmt: skip
@click.option("--vary", "key", metavar="KEY",
              help="Vary this key of the scene, such as aperture.pitch, instead of the formula's "
                  "own parameter.")  # fmt: skip
@click.option("--from", "first", metavar="VALUE", help="First value, with its unit.")
@click.option("--to", "last", metavar="VALUE", help="Last value, with its unit.")
@click.option("--steps", type=Whole(2, 10_000), default=13,
              show_default=True, help="Number of values of each parameter.")  # fmt: skip
@click.option("--linear", is_flag=True, help="Take equal steps for --vary instead of equal ratios.")
@click.option("-o", "output", type=Output(*PLATES), help="File for tables and scene (HDF5).")
@click.option("--figure", type=Output(*FIGURES),
              help="Draw the errors (.png, .pdf or .svg); with several formulas, one file for "
                  "each.")  # fmt: skip
@look_options("page", needs="figure")
@workers_option
@json_option
def command(
    scene_file: str,
    output: Path | None,
    figure: Path | None,
    workers: int,
    look: Look,
    as_json: bool,
    **given: Any,
) -> None:
    """Compare the exact computation of SCENE with textbook formulas.

    Each formula that applies is followed over its own parameter to the point where its error
    reaches the tolerance, and a closed-form estimate of that point is given beside it. With --vary
    any number of the scene is varied instead. SCENE is a scene file, or a plate file (.h5), whose
    scene is used.
    """
    scene = scene_named(scene_file, output, *_figure_names(figure, given["only"]))
    from wavesim.ensemble.engine import mapped

    with progress(name_of(scene, scene_file)) as show, mapped(workers) as mapping:
        compared = _compared(scene, given, show, mapping)
    files = _written(compared, output, figure, look)
    if as_json:
        echo_result(compared, scene.source, scene_file=scene_file, files=files)
    else:
        rows = [("written", ", ".join(files))] if files else []
        print_result(compared, *rows, source=scene.source)


def _figure_names(figure: Path | None, only: tuple[str, ...]) -> list[Path]:
    """Every file that --figure may write: the one named, or one for each formula."""
    if figure is None:
        return []
    if len(only) == 1:
        return [figure]
    derived = [_of_formula(figure, name) for name in only or _NAMES]
    return [figure, *(writable(path, FIGURES) for path in dict.fromkeys(derived))]


def _of_formula(figure: Path, name: str) -> Path:
    return figure.with_name(f"{figure.stem}_{name}{figure.suffix}")


def _compared(
    scene: Scene, given: dict[str, Any], show: Progress, mapping: Mapping
) -> FormulaComparisons:
    from wavesim.study.compare import compare, vary

    common = {"tolerance": given["tolerance"], "only": given["only"], "progress": show,
              "mapping": mapping}  # fmt: skip
    if given["key"] is not None:
        return vary(scene, given["key"], _values(scene, given), **common)
    for key, option in {**_ENDS, "linear": "linear"}.items():
        if given[key]:
            expected = "--vary and a key, such as --vary aperture.pitch"
            raise InputError("needs --vary", key=f"--{option}", expected=expected)
    return compare(scene, points=given["steps"], **common)


def _values(scene: Scene, given: dict[str, Any]) -> list[str | float]:
    """The values from --from to --to, as a scene file writes them."""
    import numpy as np

    from wavesim.scene import value_at
    from wavesim.scene.units import SI_UNITS

    low, high = (_end(given[key], f"--{option}") for key, option in _ENDS.items())
    for end in _ENDS:
        scene.but({given["key"]: given[end]} if low.dimension else {})  # says what is wrong
    if low.dimension != high.dimension:
        problem, expected = (
            "is not the same kind of quantity as --from",
            f"a value like {given['first']}",
        )
        raise InputError(problem, key="--to", value=given["last"], expected=expected)
    if not low.value < high.value:
        raise InputError("is not below --to", key="--from", value=given["first"],
                         expected="the smaller value first")  # fmt: skip
    spaced = np.linspace if given["linear"] or low.value <= 0 else np.geomspace
    values = [float(value) for value in spaced(low.value, high.value, given["steps"])]
    unit = SI_UNITS.get(low.dimension, low.dimension)
    if unit:
        return [f"{value!r} {unit}" for value in values]
    if isinstance(value_at(scene, given["key"]), int):
        return list(dict.fromkeys(round(value) for value in values))
    return list(values)


def _end(text: str | None, option: str) -> Measured:
    """A number, with its unit turned into SI where it has one."""
    from wavesim.scene.units import Measured, UnitError, measure

    if text is None:
        raise InputError("is missing", key=option, expected="both --from and --to")
    try:
        return Measured(float(text), "")
    except ValueError:
        pass
    try:
        return measure(text)
    except UnitError as error:
        raise InputError(
            str(error), key=option, value=text, expected='a value such as "20 um"'
        ) from None


def _written(
    compared: FormulaComparisons, output: Path | None, figure: Path | None, look: Look
) -> list[str]:
    files = []
    if output is not None:
        from wavesim.study.compare import save

        save(compared, output)
        files.append(str(output))
    if figure is not None:
        files += [str(path) for path in _draw(compared, figure, look)]
    return files


def _draw(compared: FormulaComparisons, path: Path, look: Look) -> list[Path]:
    from wavesim import figures

    drawn = []
    for comparison in compared.comparisons:
        if len(comparison.rows) < 2:
            continue
        several = len(compared.comparisons) > 1
        name = _of_formula(path, comparison.name) if several else path
        figures.save(drawing(comparison, compared.scene, look), name)
        drawn.append(name)
    return drawn


def drawing(comparison: Comparison, scene: Scene, look: Look) -> Figure:
    """The figure of one formula's error, its failure marked."""
    import numpy as np

    from wavesim import light
    from wavesim.figures import Labels, failure_figure

    value, error = comparison.arrays()
    factor, unit = _scale(value, comparison.unit)
    finite = np.isfinite(error) & (error > 0) & (value > 0)
    across = comparison.parameter + (f" ({unit})" if unit else "")
    labels = Labels(
        _as_heading(comparison.title),
        scene.title,
        across,
        "relative error",
        cautions=light.cautions(scene.source),
    )
    limit = None if comparison.fails_at is None else comparison.fails_at / factor
    label = "" if limit is None else f"fails {comparison.fails} {limit:.4g} {unit}".rstrip()
    return failure_figure(
        value[finite] / factor, [("formula against exact computation", error[finite])],
        tolerance=comparison.tolerance, labels=labels, fails_at=limit, fails_label=label,
        size=look.of_figure(),
    )  # fmt: skip


def _scale(value: Floats, unit: str) -> tuple[float, str]:
    """Factor and unit that suit lengths of this size."""
    if unit != "m":
        return 1.0, unit
    middle = float(value[len(value) // 2])
    for size, name in ((1.0, "m"), (1e-3, "mm"), (1e-6, "µm")):
        if middle >= size:
            return size, name
    return 1e-9, "nm"


def _as_heading(title: str) -> str:
    """With a capital, unless it begins with a formula."""
    first = title.split()[0]
    return title[:1].upper() + title[1:] if first.isalpha() and len(first) > 1 else title
