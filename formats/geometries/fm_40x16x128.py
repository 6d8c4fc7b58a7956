"""FM, 40 tracks of sixteen sectors of 128 bytes, one head."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import ECMA_66, FM_LEAD, FM_SHEET, FM_TAIL, fm_sector
from formats.model.geometry import Geometry, Zone

GEOMETRY = Geometry(
    id="fm-40x16x128",
    sources=(
        FM_SHEET,
        ECMA_66,
    ),
    rpm=300,
    tpi=48,
    size=128,
    first_sector=1,
    zones=(Zone(0, 39, 16, Fraction(4000)),),
    lead=FM_LEAD,
    sector=fm_sector(128, 27),
    tail=FM_TAIL,
)
