"""A scene that is exposed in a few hundredths of a second."""

SMALL_SCENE = """
schema = 1
title = "Three slits"

[source]
kind = "sun"
slit = { width = "20 um", height = "4 mm" }

[bench]
collimator = "600 mm"
camera = "1 m"

[aperture]
kind = "slits"
count = 3
width = "40 um"
pitch = "90 um"

[plate]
width = "20 mm"
height = "2 mm"
pixel = "100 um"
"""
