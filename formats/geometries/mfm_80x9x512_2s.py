"""MFM, 80 tracks of nine sectors of 512 bytes, two heads."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import ECMA_78_RECORDING, MFM_SHEET, MFM_TAIL, mfm_lead, mfm_sector
from formats.model.geometry import Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="mfm-80x9x512-2s",
    sources=(
        MFM_SHEET,
        Source("Data sheets of double-density controllers", "Typical values for formatting: 512 bytes, 9 sectors, gap 50", "published"),
        ECMA_78_RECORDING,
    ),
    rpm=300,
    tpi=96,
    size=512,
    first_sector=1,
    heads=2,
    zones=(Zone(0, 79, 9, Fraction(2000)),),
    lead=mfm_lead(),
    sector=mfm_sector(512, 80),
    tail=MFM_TAIL,
)
