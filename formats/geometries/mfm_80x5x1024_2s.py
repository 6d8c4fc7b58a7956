"""MFM, 80 tracks of five sectors of 1024 bytes, two heads."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import ECMA_78_RECORDING, MFM_SHEET, MFM_TAIL, mfm_lead, mfm_sector
from formats.model.geometry import Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="mfm-80x5x1024-2s",
    sources=(
        MFM_SHEET,
        Source("Data sheets of double-density controllers", "Typical values for formatting: 1024 bytes, gap 74", "published"),
        ECMA_78_RECORDING,
    ),
    rpm=300,
    tpi=96,
    size=1024,
    first_sector=1,
    heads=2,
    zones=(Zone(0, 79, 5, Fraction(2000)),),
    lead=mfm_lead(),
    sector=mfm_sector(1024, 116),
    tail=MFM_TAIL,
)
