"""Ruling defects: what each kind of error does to the rulings.

A defect turns into `RulingErrors` (displacement, weight, width, depth of every ruling); errors of
several defects add up, weights and depths multiply. A new kind is one function registered with
`errors`.
"""

from wavesim.aperture.defects.errors import IdealRuling, RulingErrors, combined, errors

__all__ = ["IdealRuling", "RulingErrors", "combined", "errors"]
