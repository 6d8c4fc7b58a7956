"""MFM, 77 tracks of eight sectors of 1024 bytes, two heads, at 360 rpm."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import ISO_8630_2, MFM_SHEET, MFM_TAIL, mfm_lead, mfm_sector
from formats.model.geometry import Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="mfm-77x8x1024-2s",
    sources=(
        MFM_SHEET,
        Source("Discs of 77 tracks of 8-inch capacity", "8 sectors of 1024 bytes, gap 74", "from memory"),
        ISO_8630_2,
    ),
    rpm=360,
    tpi=96,
    size=1024,
    first_sector=1,
    heads=2,
    zones=(Zone(0, 76, 8, Fraction(1000)),),
    lead=mfm_lead(),
    sector=mfm_sector(1024, 116),
    tail=MFM_TAIL,
    coercivity="600 Oe",
)
