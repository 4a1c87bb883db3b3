"""Which parts of a scene a stage reads.

A stage that takes the whole scene reads a part of it only. Stages are named here with the parts
that they do NOT read; whatever is not named counts as read, so a new key of the scene file is
never overlooked, and a stage that is not named reads everything.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable

from pydantic import BaseModel

from wavesim import aperture, light, plate
from wavesim.scene import Scene, named_files

_SLIT_SIZE = frozenset(
    f"source.slit.{key}" for key in ("width_m", "height_m", "turn_rad", "jaws_rad")
)
_LEVEL = frozenset({"source.filters", "source.luminance_cd_m2", "source.illuminance_lx"})
_SHOWN = frozenset({"title", "exposure"})
_OPTICS = frozenset(
    f"bench.{key}"
    for key in (
        "collimator_m", "source_distance_m", "camera_m", "plate_distance_m", "defocus_m",
        "incidence_rad", "viewing_rad", "included_angle_rad", "turn_rad", "air", "aberrations",
        "collimator_lens", "camera_lens", "plate_tilt_rad", "plate_tip_rad",
    )
)  # fmt: skip

_SPENT = frozenset(f"exposure.{key}" for key in ("time_s", "over", "speed", "balance"))

_NOT_READ: dict[Callable[..., object], frozenset[str]] = {
    light.of_scene: _SHOWN | _SLIT_SIZE | _OPTICS | {"aperture", "plate"},
    light.unfiltered: _SHOWN | _SLIT_SIZE | _OPTICS | {"aperture", "plate", "source.filters"},
    # filters tell there which way the light is polarised, and which wavelengths are left
    aperture.build: _SHOWN | _SLIT_SIZE | (_LEVEL - {"source.filters"}) | {"plate.height_m"},
    light.recorder_of: _SPENT | {"title", "source", "bench", "aperture", "plate"},
    plate.geometry_of: _SHOWN | _LEVEL | {"aperture"},
}


def scene_key(scene: Scene, work: Callable[..., object], files: Hashable) -> Hashable:
    """What a stage reads of a scene: its values, and the state of the files it names."""
    return (_values(scene, _NOT_READ.get(work, frozenset())), files)


def files_of(scene: Scene) -> Hashable:
    """The folder of the files that a scene names, and the state of each."""
    files = tuple(_state(scene, name) for _, name in named_files(scene))
    return (scene.folder if files else None, files)


def _values(model: BaseModel, not_read: frozenset[str]) -> tuple[Hashable, ...]:
    """Type and values of a model, less those keys ("a" or "a.b") that are not read."""
    found: list[Hashable] = [type(model)]
    for name in type(model).model_fields:
        if name in not_read:
            continue
        value = getattr(model, name)
        inner = frozenset(k.removeprefix(name + ".") for k in not_read if k.startswith(name + "."))
        found.append(_values(value, inner) if inner and isinstance(value, BaseModel) else value)
    return tuple(found)


def _state(scene: Scene, name: str) -> Hashable:
    """Name, size and time of a file: another content is another input."""
    try:
        found = (scene.folder / name).stat()
    except OSError:
        return (name, None)
    return (name, found.st_size, found.st_mtime_ns, found.st_ino)
