"""A light path that remembers: one scene after another, redoing only what changed."""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock

from wavesim.lightpath.path import ExposedPlate, expose, follow
from wavesim.lightpath.stages import Memory, RememberingStages
from wavesim.scene import Scene, require_scene

_MOST_BYTES = 1 << 30


class LightPath:
    """Exposes scene after scene and repeats only the stages whose inputs changed.

        path = LightPath()
        first = path.expose(scene)
        second = path.expose(longer)      # another exposure time: no far field, no columns
        small = path.preview(scene, 1200, 60)

    Plates are the same to the bit as those of `wavesim.expose` (the wall times of the report
    apart). Moving the exposure time repeats the development alone; a filter the wavelengths,
    columns and pixels; the number of slits neither the light nor the geometry. Arrays of a plate
    may be shared with later ones and must not be written to. Threads that share a path wait for
    each other.

    Parameters
    ----------
    most_bytes : arrays of intermediate results held beyond this are forgotten, the longest
        unused first; those of the last exposure are held in any case

    Attributes
    ----------
    reused : names of the stages whose results the last exposure took from memory
    """

    def __init__(self, *, most_bytes: int = _MOST_BYTES) -> None:
        self.reused: tuple[str, ...] = ()
        self._memory = Memory(most_bytes)
        self._lock = Lock()

    def expose(
        self, scene: Scene, *, progress: Callable[[str], None] | None = None
    ) -> ExposedPlate:
        """`wavesim.expose(scene)`. Raises as that does."""
        with self._lock:
            self._memory.begin()
            stages = RememberingStages(self._memory, progress)
            plate = follow(scene, stages)
            self.reused = tuple(stages.reused)
        return plate

    def preview(self, scene: Scene, columns: int, rows: int) -> ExposedPlate:
        """The same plate in fewer, larger pixels; see `wavesim.lightpath.preview`."""
        return self.expose(coarser(scene, columns, rows))

    def middle_row(self, scene: Scene, columns: int) -> ExposedPlate:
        """The plate's middle row alone, as high as one of its pixels, in `columns` pixels.

        An automatic exposure is that of the brightest pixel of this row.
        """
        require_scene(scene)
        row = scene.plate.middle_row()
        return self.preview(scene.model_copy(update={"plate": row}), columns, 1)

    @property
    def bytes(self) -> int:
        """Memory that remembered arrays take."""
        return self._memory.bytes


def preview(scene: Scene, columns: int, rows: int) -> ExposedPlate:
    """A scene's plate of the same size in `columns` x `rows` pixels, by the same engine.

    Each pixel holds the exact mean irradiance over its area, as on the full plate, so sums of
    power agree. `report.bin_error` is what was allowed to bins and rows, not measured as on the
    full plate. More pixels than the plate has are not made. Pixels are not square in general
    (`plate.scene.plate.pixel_m` wide, `pixel_height_m` high): stretch the picture to the plate's
    proportions.

    Raises
    ------
    InputError
        Fewer than one column or row; otherwise as `expose`.
    """
    return expose(coarser(scene, columns, rows))


def coarser(scene: Scene, columns: int, rows: int) -> Scene:
    """The scene with its plate in at most `columns` x `rows` pixels over the same area."""
    require_scene(scene)
    return scene.model_copy(update={"plate": scene.plate.coarser(columns, rows)})
