"""From a plate back to wavelengths.

    plate = wavesim.open_plate("sun.h5")
    table = measure(plate, Task(kind="dark", element="sun"))
    table.to_pandas()

A plate file, a picture or a CSV profile; bright or dark lines; named against the line lists; with
an uncertainty budget, ghosts and overlapping orders marked. `solve` finds the instrument from known
lines, `from_circle` reads a divided circle.
"""

from wavesim.study.measure.budget import Budget
from wavesim.study.measure.circle import (
    ARCSEC_RAD,
    Circle,
    CircleTable,
    Read,
    Setting,
    dms,
    from_circle,
)
from wavesim.study.measure.csvfiles import read_profile, read_settings
from wavesim.study.measure.ghosts import Period, Verdict, classify
from wavesim.study.measure.instrument import Doubt, Instrument, of_scene
from wavesim.study.measure.lists import ELEMENTS, FRAUNHOFER, Entry, letter_m, line_list
from wavesim.study.measure.measuring import Task, measure_profile
from wavesim.study.measure.peaks import Feature, find_lines
from wavesim.study.measure.plates import Known, find_references, measure, solve_plate
from wavesim.study.measure.profile import Profile, from_plate, profile
from wavesim.study.measure.result import Line, Measurement
from wavesim.study.measure.scans import Scan, from_light, read_picture
from wavesim.study.measure.solving import Reference, Solution, recognise, solve

__all__ = [
    "ARCSEC_RAD",
    "ELEMENTS",
    "FRAUNHOFER",
    "Budget",
    "Circle",
    "CircleTable",
    "Doubt",
    "Entry",
    "Feature",
    "Instrument",
    "Known",
    "Line",
    "Measurement",
    "Period",
    "Profile",
    "Read",
    "Reference",
    "Scan",
    "Setting",
    "Solution",
    "Task",
    "Verdict",
    "classify",
    "dms",
    "find_lines",
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
    "solve",
    "solve_plate",
]
