"""What the bench's own errors do to each line, in sentences: focus, lens rim, source slit."""

from __future__ import annotations

import math

from wavesim.scene import Bench, Scene
from wavesim.study.focus import line_focus, rulings_through_lens
from wavesim.study.predict.orders import Order
from wavesim.study.ruling import Ruling
from wavesim.text import length

_MOST = 6  # lines named
_WHOLE = 0.995  # of the rulings: a rim that takes less is not worth a sentence


def bench_errors(scene: Scene, ruled: Ruling, lines: tuple[Order, ...]) -> list[str]:
    """Sentences on every error that the scene names."""
    on_plate = [line for line in lines if line.on_plate][:_MOST]
    return [*_focus(scene, ruled, on_plate), *_rim(scene, ruled, on_plate), *_slit(scene)]


def _focus(scene: Scene, ruled: Ruling, lines: list[Order]) -> list[str]:
    """Defocus and blur of each line, where lenses have colours or the plate is turned or moved."""
    bench = scene.bench
    if bench.camera_m is None or bench.far_field:
        return []
    blurred = []
    for line in lines:
        focus = line_focus(bench, line.x_m, line.wavelength_m)
        beam = ruled.bare.width_m * math.cos(line.beta_rad)
        blur = focus.blur_m(beam)
        if blur > line.line_m:
            blurred.append(f"{_name(line)} by {length(focus.defocus_m)}, blurred to {length(blur)}")
    where = "out of focus (positive: the plate is behind the focus)"
    return [f"{where}: {'; '.join(blurred)}"] if blurred else []


def _rim(scene: Scene, ruled: Ruling, lines: list[Order]) -> list[str]:
    parts = [
        (line, rulings_through_lens(scene, line.beta_rad, ruled.bare.span_m)) for line in lines
    ]
    cut = [
        f"{100 * part:.0f} % of {_name(line)}"
        + (f" (the line is {1 / part:.2g} times as wide)" if part else "")
        for line, part in parts
        if part < _WHOLE
    ]
    return [f"the rim of the camera lens passes only {'; '.join(cut)}"] if cut else []


def _slit(scene: Scene) -> list[str]:
    slit = scene.source.slit
    if slit is None:
        return []
    found = []
    if slit.jaws_rad:
        low, high = slit.ends_m
        found.append(
            f"the source slit is {length(low)} wide at the end that forms the lower ends of the "
            f"lines and {length(high)} at the other: width and light of a line change in this ratio"
        )
    if slit.turn_rad:
        lean = math.degrees(_lean(scene.bench, slit.turn_rad))
        found.append(f"the source slit is rotated: lines are tilted by {lean:.3g} deg")
    return found


def _lean(bench: Bench, turn_rad: float) -> float:
    """atan of tan(turn) cos(alpha) / cos(beta) [rad]."""
    anamorphic = math.cos(bench.alpha_rad) / math.cos(bench.camera_axis_rad)
    return math.atan(math.tan(turn_rad) * anamorphic)


def _name(line: Order) -> str:
    return f"{line.wavelength_m * 1e9:.5g} nm in order {line.order}"
