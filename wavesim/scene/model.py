"""The scene: everything that stands on the bench, checked and in SI units."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal, Self, cast

from pydantic import BeforeValidator, Field, PrivateAttr, model_validator

from wavesim.errors import instance
from wavesim.scene.aperture import Aperture
from wavesim.scene.base import WITHOUT_NUL, Model, Value
from wavesim.scene.bench import Bench
from wavesim.scene.checks import check_together
from wavesim.scene.orders import settled
from wavesim.scene.plate import Exposure, PlateFormat
from wavesim.scene.quantities import validation_error
from wavesim.scene.source import Source


def _known_version(value: object) -> object:
    if value != 1 or isinstance(value, bool):
        raise validation_error("is an unknown version of the file format", expected="schema = 1")
    return value


class Scene(Model):
    """A source, a bench, an aperture, a plate and an exposure.

    Equal scenes have equal values; the text and the folder that they came from do not count.
    """

    schema_: Annotated[Literal[1], BeforeValidator(_known_version)] = Field(
        1, alias="schema", description="version of the file format"
    )
    title: str = Field("", description="title of the scene", max_length=1000, pattern=WITHOUT_NUL)
    source: Source = Field(description="the light source")
    bench: Bench = Field(description="lenses, distances and angles")
    aperture: Aperture = Field(description="the diffracting aperture")
    plate: PlateFormat = Field(description="the exposed plate")
    exposure: Exposure = Field(default_factory=Exposure, description="exposure time and rendering")

    @model_validator(mode="after")
    def _together(self) -> Self:
        bench, aperture = settled(self.bench, self.aperture)
        object.__setattr__(self, "bench", bench)  # nobody has seen this scene yet
        object.__setattr__(self, "aperture", aperture)
        check_together(self.source, self.bench, self.aperture, self.plate, self.exposure)
        return self

    _text: str = PrivateAttr("")
    _folder: Path = PrivateAttr(default_factory=Path)

    @property
    def text(self) -> str:
        """The TOML text as it was read; empty for a scene built in Python."""
        return self._text

    @property
    def folder(self) -> Path:
        """Folder that names of tables and pictures are relative to."""
        return self._folder

    def beside(self, folder: str | Path) -> Self:
        """The same scene with its tables and pictures looked for in `folder`."""
        twin = self.model_copy()
        twin._folder = Path(folder)
        return twin

    def but(self, changes: Mapping[str, Value] | None = None, /, **more: Value) -> Self:
        """The scene with some values changed, named and written as in its file.

            scene.but(aperture__count=7, aperture__width="50 um")
            scene.but({"aperture.defects.0.amplitude": "4 nm"})

        Raises
        ------
        SceneError
            A key that leads nowhere, or a value that the scene does not take.
        """
        from wavesim.scene import changed

        return cast("Self", changed(self, {**(changes or {}), **more}))

    def with_text(self, text: str) -> Self:
        """The same scene with the TOML text that it was read from."""
        twin = self.model_copy()
        twin._text = text
        return twin

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Scene):
            return NotImplemented
        return all(getattr(self, key) == getattr(other, key) for key in type(self).model_fields)

    def __hash__(self) -> int:
        return hash(tuple(getattr(self, key) for key in type(self).model_fields))


def require_scene(value: object) -> None:
    """Raise an InputError that says how a scene is read, unless the value is one."""
    instance("scene", value, Scene, 'a scene, such as wavesim.load("scene.toml")')
