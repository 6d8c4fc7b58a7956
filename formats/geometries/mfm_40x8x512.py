"""MFM, 40 tracks of eight sectors of 512 bytes, one head."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import ECMA_70_RECORDING, MFM_SHEET, MFM_TAIL, mfm_lead, mfm_sector
from formats.model.geometry import Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="mfm-40x8x512",
    sources=(
        MFM_SHEET,
        Source("Data sheets of double-density controllers", "Typical values for formatting: 512 bytes, 8 sectors, gap 50", "published"),
        ECMA_70_RECORDING,
    ),
    rpm=300,
    tpi=48,
    size=512,
    first_sector=1,
    zones=(Zone(0, 39, 8, Fraction(2000)),),
    lead=mfm_lead(),
    sector=mfm_sector(512, 80),
    tail=MFM_TAIL,
)
