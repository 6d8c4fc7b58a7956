"""4-to-5 group code, 40 tracks: the 35 tracks in four zones and five more of 17 sectors of 256 bytes."""

from fractions import Fraction

from formats.geometries.shared.zoned import BLOCK, CELLS, FORMATTER, IDENTIFIER
from formats.model.geometry import Gap, Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="gcr4to5-40z",
    sources=(
        FORMATTER,
        Source("Tracks 36 to 40 in the innermost zone", "as disc operating systems of other makers lay them; 768 blocks", "from memory"),
        CELLS,
    ),
    rpm=300,
    tpi=48,
    size=256,
    first_sector=0,
    index=False,
    zones=(
        Zone(1, 17, 21, Fraction(3250), gap=8),
        Zone(18, 24, 19, Fraction(3500), gap=17),
        Zone(25, 30, 18, Fraction(3750), gap=12),
        Zone(31, 40, 17, Fraction(4000), gap=9),
    ),
    sector=(IDENTIFIER, Gap(9, 0x55, "raw", minimum=8), BLOCK, Gap(0, 0x55, "raw", minimum=4)),
    tail=Gap(1, 0x55, "raw"),
)
