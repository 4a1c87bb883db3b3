"""What pictures cannot tell, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from wavesim.arrays import Floats
from wavesim.fitting.fitted import FittedValue, in_unit

ALIKE = 0.95  # correlation from which two values cannot be told apart
_LOOSE = 0.2  # relative error beyond which a picture does not settle a value


@dataclass(frozen=True, eq=False)
class Findings:
    """What remarks are made from.

    Attributes
    ----------
    values : of the free keys
    correlation, keys : of their errors, and the keys of its rows
    at_limit : keys that ended at the edge of their range
    rivals : other values [SI] of all keys that fit as well
    camera : relative error allowed for a camera's sensitivities
    apertures, pitch_m : kind of the scene's aperture, and its pitch [m] where it has one
    """

    values: tuple[FittedValue, ...]
    correlation: Floats
    keys: tuple[str, ...]
    at_limit: tuple[str, ...]
    rivals: tuple[dict[str, float], ...]
    camera: float
    apertures: str
    pitch_m: float | None


def remarks_of(findings: Findings) -> tuple[str, ...]:
    """Sentences on what the pictures leave open."""
    return (
        *_rivals(findings),
        *_correlations(findings),
        *(f"{v.key} hardly affects this pattern" for v in findings.values if _loose(v)),
        *(f"{key} ended at the limit of its range: widen the range" for key in findings.at_limit),
        *_camera(findings),
    )


def _loose(value: FittedValue) -> bool:
    return value.standard_error > _LOOSE * abs(value.value)


def _rivals(findings: Findings) -> Iterator[str]:
    named = {v.key: v for v in findings.values}
    for rival in findings.rivals:
        apart = [key for key, value in rival.items() if value in named[key].alternatives]
        if not apart:
            continue
        other = ", ".join(f"{key} = {in_unit(rival[key], named[key].unit)}" for key in apart)
        ours = ", ".join(f"{in_unit(named[key].value, named[key].unit)}" for key in apart)
        yield (
            f"ambiguous: {other} fits as well as {ours}{_why(findings, apart, rival)}; "
            "give a range to choose one"
        )


def _why(findings: Findings, apart: list[str], rival: dict[str, float]) -> str:
    named = {v.key: v.value for v in findings.values}
    both = named.get("aperture.width", 0.0) + rival.get("aperture.width", 0.0)
    twin = abs(both / rival.get("aperture.pitch", findings.pitch_m or 1.0) - 1) < 0.02
    if twin and apart == ["aperture.width"] and findings.apertures in ("wires", "slits"):
        opposite = "gaps" if findings.apertures == "wires" else "bars"
        return (
            f" ({findings.apertures} and {opposite} interchanged give the same orders except "
            "order 0: Babinet's principle)"
        )
    return ""


def _correlations(findings: Findings) -> Iterator[str]:
    for i, a in enumerate(findings.keys):
        for j in range(i):
            if abs(findings.correlation[i, j]) > ALIKE:
                yield (
                    f"{a} and {findings.keys[j]} can hardly be distinguished in this pattern "
                    f"(correlation {findings.correlation[i, j]:+.3f}): fix one of them"
                )


def _camera(findings: Findings) -> Iterator[str]:
    if findings.camera:
        yield (
            f"errors include {100 * findings.camera:.1g} % for the spectral sensitivities of the "
            "camera, which are assumed to be those of sRGB"
        )
