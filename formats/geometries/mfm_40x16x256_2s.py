"""MFM, 40 tracks of sixteen sectors of 256 bytes, two heads."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import ECMA_70, MFM_SHEET, MFM_TAIL, mfm_lead, mfm_sector
from formats.model.geometry import Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="mfm-40x16x256-2s",
    sources=(
        MFM_SHEET,
        Source(
            "Data sheets of double-density controllers",
            "Typical values for formatting: 256 bytes, 16 sectors, gap 32",
            "published",
            "50 bytes; the 54 of the FD179X-02 data sheet are declared",
        ),
        ECMA_70,
    ),
    rpm=300,
    tpi=48,
    size=256,
    first_sector=1,
    heads=2,
    zones=(Zone(0, 39, 16, Fraction(2000)),),
    lead=mfm_lead(),
    sector=mfm_sector(256, 54),
    tail=MFM_TAIL,
)
