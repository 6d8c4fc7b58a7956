"""FM, 40 tracks of eighteen sectors of 128 bytes, one head, at 288 rpm; the sectors' bytes stand complemented."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import FM_SHEET, FM_TAIL, fm_lead, fm_sector
from formats.model.geometry import Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="fm-40x18x128-288rpm",
    sources=(
        FM_SHEET,
        Source("Discs of the 288 rpm drives", "18 sectors, 1 3 5 to 17 and 2 4 6 to 18 round the track, bytes complemented", "from memory"),
        Source("Gaps of the 288 rpm drives", "40 and 14", "from memory", "a proposal: nobody found the formatter's own"),
    ),
    rpm=288,
    tpi=48,
    size=128,
    first_sector=1,
    zones=(Zone(0, 39, 18, Fraction(4000)),),
    lead=fm_lead(40),
    sector=fm_sector(128, 14, inverted=True),
    tail=FM_TAIL,
    order=(1, 3, 5, 7, 9, 11, 13, 15, 17, 2, 4, 6, 8, 10, 12, 14, 16, 18),
)
