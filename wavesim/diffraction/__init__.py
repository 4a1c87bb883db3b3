"""From an aperture to the field far behind it: nothing here knows of plates or colour.

far       rulings: envelope times interference, along one direction
planar    apertures in the plane: the same in two directions
fresnel   the near field: a path over the aperture in front of the far field's sums
"""
