"""MFM, 80 tracks of sixteen sectors of 256 bytes, two heads."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import ECMA_78, MFM_SHEET, MFM_TAIL, mfm_lead, mfm_sector
from formats.model.geometry import Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="mfm-80x16x256-2s",
    sources=(
        MFM_SHEET,
        Source(
            "Data sheets of double-density controllers",
            "Typical values for formatting: 256 bytes, 16 sectors, gap 32",
            "published",
            "50 bytes; the 54 of the FD179X-02 data sheet are declared",
        ),
        ECMA_78,
    ),
    rpm=300,
    tpi=96,
    size=256,
    first_sector=1,
    heads=2,
    zones=(Zone(0, 79, 16, Fraction(2000)),),
    lead=mfm_lead(),
    sector=mfm_sector(256, 54),
    tail=MFM_TAIL,
)
