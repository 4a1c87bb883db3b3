"""The version, which files and caches carry with them."""

__version__ = "0.1.0"
