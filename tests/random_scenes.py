"""Random scenes of eight kinds, each named by its seed."""

from __future__ import annotations

from tests import bench
from tests.plate_quadrature import Setup, setup_of
from wavesim.scene import Scene

KINDS = 8  # of apertures and benches, by the seed


def um(length_m: float) -> str:
    """A length as scenes have it, to the last bit."""
    return f'"{float(length_m) * 1e6!r} um"'


def grating_text(seed: int, groove: str, mounting: str = "transmission") -> str:
    """A coarse grating of few rulings."""
    return (
        f'kind = "grating"\nmounting = "{mounting}"\ncount = {20 + seed % 200}\n'
        f'density = "{50 + seed % 300} / mm"\nheight = "2 mm"\ngroove = {groove}'
    )


def blazed_text(seed: int) -> str:
    """The same, blazed."""
    return grating_text(seed, f'{{ profile = "blazed", facet_angle = "{2 + seed % 9} deg" }}')


def aperture_text(seed: int, setup: Setup) -> str:
    """Slits, or one of seven others, by the seed."""
    ghosts = (
        f'\n[[aperture.defects]]\nkind = "periodic"\namplitude = "{20 + seed % 60} nm"\nperiod = 7'
        f'\n[[aperture.defects]]\nkind = "random"\nrms = "{seed % 40} nm"\nseed = {seed}'
    )
    size = um(setup.width_m * (1 + seed % 3))
    match seed % KINDS:
        case 1:
            return setup.mesh() if setup.count > 1 else setup.slits()
        case 3:
            return blazed_text(seed)
        case 4:
            pitch = um(setup.pitch_m)
            return f'kind = "wires"\ncount = {setup.count + 2}\nwidth = {um(setup.width_m)}\n' + (
                f'pitch = {pitch}\nheight = "3 mm"'
            )
        case 5:
            holes = (
                f'kind = "disc"\ndiameter = {size}',
                f'kind = "polygon"\nsides = {3 + seed % 5}\nradius = {size}',
                f'kind = "ellipse"\nwidth = {size}\nheight = {um(setup.width_m)}\nturn = "20 deg"',
            )
            return holes[seed // KINDS % 3]
        case 6:
            binary = f'{{ profile = "binary", depth = "{100 + seed % 300} nm", duty = 0.4 }}'
            return grating_text(seed, binary, "reflection") + ghosts
        case 7:
            return setup.slits() + ghosts if setup.count > 1 else setup.slits()
    return setup.slits()


def random_scene(seed: int) -> Scene:
    """Slits, wires, holes, a mesh or grooves, with and without errors, under any light; one in
    eight at a finite distance."""
    setup = setup_of(seed)
    chosen = setup.bench
    if seed % KINDS == 2:
        chosen = f'source_distance = "1.5 m"\nplate_distance = "{seed % 7 + 3}00 mm"'
    return bench.scene(
        source=setup.source, bench=chosen, plate=setup.plate, aperture=aperture_text(seed, setup)
    )


def slit_scene(seed: int, aperture: str | None = None) -> Scene:
    """One to eight slits in the parallel beam, or another aperture there."""
    setup = setup_of(seed)
    shape = setup.slits() if aperture is None else aperture
    return bench.scene(source=setup.source, bench=setup.bench, plate=setup.plate, aperture=shape)
