"""wavesim: what an optical bench with a slit plate or grating puts on the plate."""

__version__ = "0.1.0"
