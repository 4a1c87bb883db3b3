"""From a plate back to wavelengths.

    plate = wavesim.open_plate("sun.h5")
    table = measure(plate, Task(kind="dark", element="sun"))
    table.to_pandas()

A plate file, a picture or a CSV profile; bright or dark lines; named against the line lists; with
an uncertainty budget, ghosts and overlapping orders marked. `solve` finds the instrument from known
lines, `from_circle` reads a divided circle.
"""

from wavesim.measuring.budget import Budget
from wavesim.measuring.circle import (
    ARCSEC_RAD,
    Circle,
    CircleReading,
    CircleSetting,
    CircleTable,
    dms,
    from_circle,
)
from wavesim.measuring.csvfiles import read_profile, read_settings
from wavesim.measuring.fringes import FringePattern, find_pattern
from wavesim.measuring.ghosts import Classification, Period, classify
from wavesim.measuring.instrument import Instrument, Uncertainties, of_scene
from wavesim.measuring.lists import ELEMENTS, FRAUNHOFER, Entry, letter_m, line_list
from wavesim.measuring.measuring import Task, measure_profile
from wavesim.measuring.peaks import Feature, find_lines
from wavesim.measuring.plates import (
    Known,
    find_references,
    measure,
    shows_lines,
    solve_plate,
    with_distortion_error,
)
from wavesim.measuring.profile import Profile, from_plate, profile
from wavesim.measuring.result import Line, Measurement
from wavesim.measuring.scans import Scan, from_light, read_picture
from wavesim.measuring.solving import Reference, SolvedInstrument, recognise, solve

__all__ = [
    "ARCSEC_RAD",
    "ELEMENTS",
    "FRAUNHOFER",
    "Budget",
    "Circle",
    "CircleReading",
    "CircleSetting",
    "CircleTable",
    "Classification",
    "Entry",
    "Feature",
    "FringePattern",
    "Instrument",
    "Known",
    "Line",
    "Measurement",
    "Period",
    "Profile",
    "Reference",
    "Scan",
    "SolvedInstrument",
    "Task",
    "Uncertainties",
    "classify",
    "dms",
    "find_lines",
    "find_pattern",
    "find_references",
    "from_circle",
    "from_light",
    "from_plate",
    "letter_m",
    "line_list",
    "measure",
    "measure_profile",
    "of_scene",
    "profile",
    "read_picture",
    "read_profile",
    "read_settings",
    "recognise",
    "shows_lines",
    "solve",
    "solve_plate",
    "with_distortion_error",
]
