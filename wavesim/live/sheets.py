"""A sheet of kept plates to print: A4 or letter, true to scale, with a bar to check the print."""

from __future__ import annotations


def sheet_pdf(plates: object, stops: object, paper: str) -> bytes:
    raise NotImplementedError
