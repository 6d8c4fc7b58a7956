"""4-to-5 group code, 77 tracks of 100 to the inch in four zones of 29, 27, 25 and 23 sectors of 256 bytes, one head."""

from fractions import Fraction

from formats.geometries.shared.zoned import BLOCK, CELLS_77, FORMATTER_77, GAP_77, IDENTIFIER
from formats.model.geometry import Gap, Geometry, Zone

GEOMETRY = Geometry(
    id="gcr4to5-77z",
    sources=(FORMATTER_77, GAP_77, CELLS_77),
    rpm=300,
    tpi=100,
    size=256,
    first_sector=0,
    index=False,
    zones=(
        Zone(1, 39, 29, Fraction(6500, 3), gap=29),
        Zone(40, 53, 27, Fraction(7000, 3), gap=28),
        Zone(54, 64, 25, Fraction(2500), gap=32),
        Zone(65, 77, 23, Fraction(8000, 3), gap=39),
    ),
    sector=(IDENTIFIER, Gap(19, 0x55, "raw", minimum=19), BLOCK, Gap(0, 0x55, "raw", minimum=18)),
    tail=Gap(1, 0x55, "raw"),
)
