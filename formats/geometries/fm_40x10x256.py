"""FM, 40 tracks of ten sectors of 256 bytes, one head, numbered from 0."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import FM_SHEET, fm_lead, fm_sector
from formats.model.geometry import Gap, Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="fm-40x10x256",
    sources=(
        FM_SHEET,
        Source(
            "Gap table of a single-density controller",
            "256 bytes, 10 sectors, gap 21, no index mark",
            "from memory",
            "9 bytes are left behind the last gap, where the data sheet asks for 16",
        ),
    ),
    rpm=300,
    tpi=48,
    size=256,
    first_sector=0,
    zones=(Zone(0, 39, 10, Fraction(4000)),),
    lead=fm_lead(16),
    sector=fm_sector(256, 21),
    tail=Gap(1, 0xFF, "fm", minimum=9),
)
