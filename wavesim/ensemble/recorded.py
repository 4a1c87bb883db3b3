"""What a study's file holds of all its members: their numbers, and how their profiles scatter."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import h5py
import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.ensemble.joined import out_of_all_measure, reading
from wavesim.ensemble.plan import Limit, table_of
from wavesim.errors import PlateFileError

_LIKE_SPECKLE = 0.1  # from 1, of standard deviation over mean
_BLOCK_BYTES = 1 << 25


@dataclass(frozen=True, eq=False)
class Members:
    """The numbers of a study file.

    Attributes
    ----------
    title, design : of the study
    draws : members drawn at each point
    keys : varied key -> (n,) values [SI], or (n,) texts
    units : key or number -> SI unit
    drawn : keys drawn from a distribution, seeds left out
    numbers : name -> (n,) values [SI], nan where a member failed
    failures : (n,) messages, "" where none
    limits : that the study sets its numbers
    """

    title: str
    design: str
    draws: int
    keys: dict[str, NDArray[np.generic]]
    units: dict[str, str]
    drawn: tuple[str, ...]
    numbers: dict[str, Floats]
    failures: tuple[str, ...]
    limits: tuple[Limit, ...] = ()


@dataclass(frozen=True)
class ProfileSpread:
    """The recorded profiles of all members.

    Attributes
    ----------
    members : that have one
    order : of the line
    peak, error : mean over members of the light at the order, over a perfect ruling's peak, and
        its standard error
    positions, points : of the axis at which members scatter like speckle, and in all; speckle has a
        standard deviation equal to its mean (Goodman 1985, section 2.9), here within a tenth
    speckle, contrast : mean light there, and standard deviation over mean; nan where there is none
    """

    members: int
    order: float
    peak: float
    error: float
    positions: int
    points: int
    speckle: float
    contrast: float


def read_members(path: str | Path) -> Members:
    """The numbers of a study file, without its arrays.

    Raises
    ------
    PlateFileError
        The file is missing, damaged or not a study file.
    """
    with reading(path) as file:
        keys = [str(key) for key in file.attrs["keys"]]
        names = [str(name) for name in file.attrs["numbers"]]
        values: dict[str, NDArray[np.generic]] = {}
        for key in keys:
            text = h5py.check_string_dtype(file[key].dtype) is not None
            values[key] = np.asarray(file[key].asstr()[()]) if text else file[key][()]
        return Members(
            title=str(file.attrs["title"]),
            design=str(file.attrs["design"]),
            draws=int(file.attrs["draws"]),
            keys=values,
            units={n: str(file[n].attrs.get("units", "")) for n in (*keys, *names)},
            drawn=tuple(str(key) for key in file.attrs["drawn"]),
            numbers={name: file[name][()] for name in names},
            failures=tuple(file["failure"].asstr()[()]),
            limits=table_of(str(file.attrs["study"]), str(path)).report.limits,
        )


def profile_spread(path: str | Path) -> ProfileSpread | None:
    """Mean and scatter of a study's profiles, a block in memory at a time; None without any.

    Raises
    ------
    PlateFileError
        The file is missing, damaged or not a study file.
    """
    with reading(path) as file:
        if "profile" not in file:
            return None
        axis, profiles = file["order"][()], file["profile"]
        count, total, square = 0, np.zeros(axis.size), np.zeros(axis.size)
        step = max(1, _BLOCK_BYTES // max(8 * axis.size, 1))
        for first in range(0, profiles.shape[0], step):
            block = profiles[first : first + step]
            if out_of_all_measure(block):
                raise PlateFileError("is damaged: a profile is out of all measure", file=path)
            block = block[np.isfinite(block).all(axis=1)]
            count += block.shape[0]
            total += block.sum(axis=0)
            square += (block**2).sum(axis=0)
    if count < 2:
        return None
    mean = total / count
    deviation = np.sqrt(np.maximum(square - count * mean**2, 0.0) / (count - 1))
    ratio = deviation / np.where(mean > 0, mean, np.inf)
    like = np.abs(ratio - 1) < _LIKE_SPECKLE
    middle = axis.size // 2
    return ProfileSpread(
        members=count,
        order=float(axis[middle]),
        peak=float(mean[middle]),
        error=float(deviation[middle]) / math.sqrt(count),
        positions=int(like.sum()),
        points=axis.size,
        speckle=float(mean[like].mean()) if like.any() else math.nan,
        contrast=float(ratio[like].mean()) if like.any() else math.nan,
    )
