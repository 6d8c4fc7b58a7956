"""MFM, 40 tracks of eighteen sectors of 256 bytes, one head."""

from fractions import Fraction

from formats.geometries.shared.soft_sector import MFM_SHEET, mfm_lead, mfm_sector
from formats.model.geometry import Gap, Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="mfm-40x18x256",
    sources=(
        MFM_SHEET,
        Source(
            "Track pattern of an 18-sector system of 35 tracks",
            "32 bytes, index mark, 32 bytes; data gap 24",
            "looked up",
            "14 bytes are left behind the last gap, where the data sheet asks for 16",
        ),
        Source(
            "40 tracks, sectors as numbered round the track",
            "this project's own choice",
            "from memory",
            "the pattern's system has 35 tracks of 161,280 bytes in all, and its formatter chose the order round the track",
        ),
        Source(
            "Data sheets of double-density controllers",
            "Typical values for formatting: 256 bytes, 18 sectors, gap 0C",
            "published",
            "not declared: less than the other data sheet's least gap, though with it a drive may turn 2.90 % faster",
        ),
    ),
    rpm=300,
    tpi=48,
    size=256,
    first_sector=1,
    zones=(Zone(0, 39, 18, Fraction(2000)),),
    lead=mfm_lead(32, 32),
    sector=mfm_sector(256, 24),
    tail=Gap(1, 0x4E, "mfm", minimum=14),
)
