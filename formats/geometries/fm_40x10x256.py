"""FM, 40 tracks of ten sectors of 256 bytes, one head, numbered from 0."""

from fractions import Fraction

from formats.geometry import Geometry, Zone
from formats.soft_sector import FM_SHEET, FM_TAIL, fm_lead, fm_sector
from formats.source import Source

GEOMETRY = Geometry(
    id="fm-40x10x256",
    sources=(
        FM_SHEET,
        Source("Gap table of 8271-type controllers", "256 bytes, 10 sectors, gap 21, no index mark", "from memory"),
    ),
    rpm=300,
    tpi=48,
    size=256,
    first_sector=0,
    zones=(Zone(0, 39, 10, Fraction(4000)),),
    lead=fm_lead(16),
    sector=fm_sector(256, 21),
    tail=FM_TAIL,
)
