"""Ruling defects: what each kind of error does to the rulings.

A defect turns into `Errors` (displacement, weight, width, depth of every ruling); errors of
several defects add up, weights and depths multiply. A new kind is one function registered with
`errors`.
"""

from wavesim.aperture.defects.errors import Errors, Ruling, combined, errors

__all__ = ["Errors", "Ruling", "combined", "errors"]
