"""FM, 40 tracks of eighteen sectors of 128 bytes, one head: no room for an index mark."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import FM_SHEET, FM_TAIL, fm_lead, fm_sector
from formats.model.geometry import Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="fm-40x18x128",
    sources=(
        FM_SHEET,
        Source(
            "Data sheets of double-density controllers",
            "Typical values for formatting: 128 bytes, 18 sectors, gap 09",
            "published",
            "one byte less than the 10 that the FD179X-02 data sheet asks for",
        ),
        Source("Sum of a track's bytes", "with an index mark 3133, where a turn has 3125: so there is none", "computed"),
    ),
    rpm=300,
    tpi=48,
    size=128,
    first_sector=1,
    zones=(Zone(0, 39, 18, Fraction(4000)),),
    lead=fm_lead(16),
    sector=fm_sector(128, 9, least=9),
    tail=FM_TAIL,
)
