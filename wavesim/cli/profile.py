"""wavesim profile: the line profile of one wavelength and order, over ten decades."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import echo_json, labelled, name_of, progress, scene_named
from wavesim.cli.options import FIGURES, Number, Output, examples, json_option, line_options
from wavesim.text import length

if TYPE_CHECKING:
    from wavesim.scene import Scene
    from wavesim.study.predict import Ghost
    from wavesim.study.profile import LineProfile, MatchedGhost

_MOST_GHOSTS = 30
_ROOM = 1.5  # drawn beyond the outermost ghost, of its distance
_DECADES = 12


@click.command(
    epilog=examples(
        "wavesim profile scenes/grating_screw.toml --order 2 \\\n"
        '    --wavelength "546.1 nm" --figure screw.png',
        "wavesim profile scenes/grating_screw.toml --ghosts ghosts.csv",
    )
)
@click.argument("scene_file", metavar="SCENE")
@line_options
@click.option(
    "--span", type=Number(0.01, 50), default=1.0, show_default=True,
    help="Width of the scan, in orders.",
)  # fmt: skip
@click.option(
    "--figure", type=Output(*FIGURES), help="Draw the profile, ghosts marked: .png, .pdf or .svg."
)
@click.option(
    "--table", type=Output(".csv"),
    help="Write the profile: order, wavelength, place and level.",
)  # fmt: skip
@click.option(
    "--ghosts", type=Output(".csv"),
    help="Write the ghosts found, as `wavesim diagnose` reads them.",
)  # fmt: skip
@json_option
def command(
    scene_file: str,
    wavelength: float | None,
    order: int,
    span: float,
    figure: Path | None,
    table: Path | None,
    ghosts: Path | None,
    as_json: bool,
) -> None:
    """Compute the profile of one line of SCENE and measure it.

    Gives width, resolution, Strehl ratio (peak over the perfect ruling's), power, ghosts, matched
    with the predicted, and the mean diffuse light. SCENE is a scene file, or a plate file (.h5),
    whose scene is taken.
    """
    scene = scene_named(scene_file, figure, table, ghosts)
    outputs = [path for path in (figure, table, ghosts) if path is not None]
    with progress(name_of(scene, scene_file)) as show:
        show("line profile")
        from wavesim.study.predict.wavelengths import usual_wavelength
        from wavesim.study.profile import line_profile

        found = line_profile(
            scene,
            wavelength_m=wavelength or usual_wavelength(scene),
            order=order,
            span_orders=span,
        )
        _write(scene, found, figure, table, ghosts)
    if as_json:
        echo_json({"scene_file": scene_file, **record(found)})
        return
    rows = [("profile", name_of(scene, scene_file)), *summary(found)]
    rows += [("written", ", ".join(map(str, outputs)))] if outputs else []
    click.echo(labelled(rows))


def record(found: LineProfile) -> dict[str, object]:
    """All figures of a profile, without the curves."""
    curves = ("mu", "level", "core", "ghosts", "hidden", "missed", "diffuse", "limits",
              "power_within")  # fmt: skip
    plain = {key: value for key, value in vars(found).items() if key not in curves}
    return {
        **plain,
        "power_within": [{"widths": n, "share": share} for n, share in found.power_within],
        "ghosts": [asdict(pair) for pair in found.ghosts],
        "hidden": [asdict(ghost) for ghost in found.hidden],
        "missed": [asdict(ghost) for ghost in found.missed],
        "limits": [asdict(limit) for limit in found.limits],
        "diffuse": asdict(found.diffuse),
    }


def summary(found: LineProfile) -> list[tuple[str, str]]:
    """The same in words."""
    m = abs(found.order)
    rows = [
        ("line", f"order {found.order} at {found.wavelength_m * 1e9:.6g} nm, peak at order "
                 f"{found.peak_mu:.9g}"),
        ("width", f"{found.fwhm_orders:.6g} orders at half height = {_picometres(found)}"
                  f"{length(found.fwhm_on_plate_m)} on the plate; equivalent width "
                  f"{found.equivalent_orders:.5g} orders"),
        ("resolves", f"{found.resolving_power:,.0f} (0.8859 m / width); two lines "
                     f"{_apart(found.rayleigh_orders, m, found.wavelength_m)} apart by Rayleigh, "
                     f"{_apart(found.sparrow_orders, m, found.wavelength_m)} by Sparrow"),
        ("Strehl", f"{found.strehl:.6f} of the perfect ruling's peak"),
        ("power", ", ".join(f"{100 * share:.4f} % within {n:g}" for n, share in found.power_within)
                  + " widths"),
        ("diffuse", _diffuse(found)),
    ]  # fmt: skip
    rows += [("ghosts", _count(found))] + [("", text) for text in map(_ghost, _strongest(found))]
    rows.append(("search", _limits(found)))
    return rows + [("note", text) for text in found.notes]


def _picometres(found: LineProfile) -> str:
    """The width as a difference of wavelength, which the zero order has none of."""
    return f"{found.fwhm_m * 1e12:.5g} pm = " if found.order else ""


def _apart(orders: float, m: int, wavelength_m: float) -> str:
    if m == 0:
        return f"{orders:.4g} orders"
    return f"{wavelength_m * orders / m * 1e12:.5g} pm"


def _diffuse(found: LineProfile) -> str:
    light = found.diffuse
    if math.isnan(light.level):
        return "nothing lies between line and ghosts"
    return (
        f"{light.level:.3e} +- {light.standard_error:.1e} of the line on average over "
        f"{light.cells:,.0f} cells within {light.reach_orders:.2g} orders; contrast "
        f"{light.contrast:.2f} (speckle: 1)"
    )


def _limits(found: LineProfile) -> str:
    """How strong a ghost near the line has to be to be found."""
    parts = [
        f"{limit.strength:.0e} at {limit.distance_orders / found.fwhm_orders:g}"
        for limit in found.limits
        if limit.strength < 1
    ]
    if not parts:
        return "the line's wings hide every ghost within 10 widths of it"
    return (
        "the line's own wings hide ghosts near it; the weakest that can be found: "
        + ", ".join(parts) + " line widths"
    )  # fmt: skip


def _count(found: LineProfile) -> str:
    named = sum(pair.predicted is not None for pair in found.ghosts)
    if not found.ghosts:
        return "none found"
    return f"{len(found.ghosts)} found, {named} of them where one is predicted; the strongest:"


def _strongest(found: LineProfile) -> list[MatchedGhost]:
    high = sorted(found.ghosts, key=lambda pair: -pair.found.strength)[:_MOST_GHOSTS]
    return sorted(high, key=lambda pair: pair.found.mu)


def _ghost(pair: MatchedGhost) -> str:
    seen = pair.found
    text = f"at {seen.mu:.7f}: {seen.strength:.4e} +- {seen.strength_error:.0e}"
    if pair.predicted is None:
        return text + ", not predicted"
    ghost = pair.predicted
    name = ",".join(f"{k:+d}" if k else "0" for k in ghost.harmonics)
    return text + f"; predicted {ghost.seen:.4e} as ghost {name} of order {ghost.order}"


def _draw(scene: Scene, found: LineProfile, path: Path) -> None:
    """The scan on a logarithmic axis, with a circle where a ghost is predicted, at its level."""
    from wavesim.figures.marks import Mark
    from wavesim.figures.profiles import line_profile_figure
    from wavesim.figures.style import save

    ghosts = [pair.predicted for pair in found.ghosts if pair.predicted] + list(found.missed)
    ghosts = [ghost for ghost in ghosts if ghost.seen > 10.0**-_DECADES]
    near = _window(found, ghosts)
    marks = [
        Mark(ghost.mu, ",".join(f"{k:+d}" if k else "0" for k in ghost.harmonics) if named else "",
             "ghost", ghost.seen)
        for ghost, named in _named(ghosts, float(found.mu[near][-1] - found.mu[near][0]))
    ]  # fmt: skip
    drawn = line_profile_figure(
        found.mu[near],
        found.level[near],
        marks=marks,
        x_label="order",
        title=f"{scene.title}: order {found.order} at {found.wavelength_m * 1e9:.6g} nm",
        subtitle="circles: ghosts as predicted, with the harmonic of each period" if marks else "",
        decades=_DECADES,
    )
    save(drawn, path)


def _window(found: LineProfile, ghosts: list[Ghost]) -> slice:
    """The part of the scan worth drawing: about the ghosts, or all of it if there are none."""
    import numpy as np

    if not ghosts:
        return slice(None)
    reach = _ROOM * max(abs(ghost.mu - found.order) for ghost in ghosts)
    first, last = np.searchsorted(found.mu, [found.order - reach, found.order + reach])
    return slice(max(int(first) - 1, 0), int(last) + 1)


def _named(ghosts: list[Ghost], span: float) -> list[tuple[Ghost, bool]]:
    """Which ghosts have room for their name: the strongest, apart from each other."""
    named: list[Ghost] = []
    for ghost in sorted(ghosts, key=lambda one: -one.seen):
        if all(abs(ghost.mu - other.mu) > 0.05 * span for other in named):
            named.append(ghost)
    return [(ghost, True) for ghost in named] + [(g, False) for g in ghosts if g not in named]


def _write(
    scene: Scene, found: LineProfile, figure: Path | None, table: Path | None, ghosts: Path | None
) -> None:
    if figure is not None:
        _draw(scene, found, figure)
    if table is not None:
        from wavesim.study.profile.tables import write_profile

        write_profile(scene, found, table)
    if ghosts is not None:
        from wavesim.study.profile.tables import write_ghosts

        write_ghosts(found, ghosts)
