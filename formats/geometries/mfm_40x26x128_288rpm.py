"""MFM, 40 tracks of 26 sectors of 128 bytes, one head, at 288 rpm."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import MFM_SHEET, MFM_TAIL, mfm_lead, mfm_sector
from formats.model.geometry import Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="mfm-40x26x128-288rpm",
    sources=(
        MFM_SHEET,
        Source(
            "Discs of the 288 rpm drives",
            "26 sectors, 1 3 5 to 25 and 2 4 6 to 26 round the track, data gap 22",
            "from memory",
            "two bytes less than the 24 that the data sheet asks for",
        ),
    ),
    rpm=288,
    tpi=48,
    size=128,
    first_sector=1,
    zones=(Zone(0, 39, 26, Fraction(2000)),),
    lead=mfm_lead(),
    sector=mfm_sector(128, 22, least=22),
    tail=MFM_TAIL,
    order=(1, 3, 5, 7, 9, 11, 13, 15, 17, 19, 21, 23, 25, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22, 24, 26),
)
