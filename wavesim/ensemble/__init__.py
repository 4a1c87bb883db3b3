"""Studies of many scenes: what varies, what is recorded of each member, and what all of them say.

plan        a study file -> `StudyPlan`: the base scene, what varies, what is recorded
members     a plan -> the values of every member, the same for any number of workers
numbers     what can be recorded of a member
exposing    one member exposed and measured
parts       members on disk while the study grows: done means the file is there
engine      members shared among processes, on this machine or on a cluster
running     a plan -> a study file, resumed where it stopped
joined      the study file (HDF5), and back as a labelled data set
recorded    what a study's file holds: numbers, and the scatter of profiles
summary     quantiles, yields, sensitivities and the worst members
"""

from wavesim.ensemble.joined import member_scene, open_study
from wavesim.ensemble.plan import StudyPlan, load_plan
from wavesim.ensemble.running import Progress, Run, estimate, run_study
from wavesim.ensemble.summary import Summary, summarise

__all__ = [
    "Progress",
    "Run",
    "StudyPlan",
    "Summary",
    "estimate",
    "load_plan",
    "member_scene",
    "open_study",
    "run_study",
    "summarise",
]
