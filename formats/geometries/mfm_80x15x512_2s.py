"""MFM, 80 tracks of fifteen sectors of 512 bytes, two heads, at 360 rpm."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import ISO_8630_3, MFM_SHEET, MFM_TAIL, mfm_lead, mfm_sector
from formats.model.geometry import Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="mfm-80x15x512-2s",
    sources=(
        MFM_SHEET,
        Source("Data sheets of double-density controllers", "Typical values for formatting: 512 bytes, 15 sectors, gap 54", "published"),
        ISO_8630_3,
    ),
    rpm=360,
    tpi=96,
    size=512,
    first_sector=1,
    heads=2,
    zones=(Zone(0, 79, 15, Fraction(1000)),),
    lead=mfm_lead(),
    sector=mfm_sector(512, 84),
    tail=MFM_TAIL,
    coercivity="600 Oe",
)
