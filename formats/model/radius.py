"""How far from a disc's centre its tracks lie, in millimetres.

Sources: drive handbooks: head 0's outermost track 2.25 inches from the centre, head 1's four tracks of 48 to the inch further in; the
published densities of innermost tracks follow from it. The hub hole's 1.125 inches across are from memory.
"""

from formats.model.geometry import Geometry

_INCH = 25.4
_OUTERMOST = (2.25 * _INCH, 2.25 * _INCH - 4 * _INCH / 48)  # of each head

HUB_HOLE = 1.125 * _INCH / 2
INNERMOST = 34.13  # of the published drives': head 1, track 79 of 96 to the inch, 5922 flux changes an inch


def innermost(geometry: Geometry) -> float:
    """The radius of the track that lies furthest in."""
    return _OUTERMOST[geometry.heads - 1] - (geometry.cylinders - 1) * _INCH / geometry.tpi
