"""4-to-5 group code, 35 tracks in four zones of 21, 20, 18 and 17 sectors of 256 bytes: 690 blocks, the first generation."""

from fractions import Fraction

from formats.geometries.shared.zoned import BLOCK, CELLS, FORMATTER, IDENTIFIER
from formats.model.geometry import Gap, Geometry, Zone
from formats.source import Source

GEOMETRY = Geometry(
    id="gcr4to5-35z20",
    sources=(
        Source("Drive user manuals", "690 blocks, tracks 18 to 24 of 20 sectors", "published"),
        FORMATTER,
        CELLS,
        Source(
            "Gap 2 on tracks of 20 sectors",
            "3 bytes a sector are left at most; 1 leaves a drive that writes the most speed",
            "computed",
            "the first generation's own gap was not found; the later formatter's least one of 4 does not fit a turn",
        ),
    ),
    rpm=300,
    tpi=48,
    size=256,
    first_sector=0,
    index=False,
    zones=(
        Zone(1, 17, 21, Fraction(3250), gap=8),
        Zone(18, 24, 20, Fraction(3500), gap=1),
        Zone(25, 30, 18, Fraction(3750), gap=12),
        Zone(31, 35, 17, Fraction(4000), gap=9),
    ),
    sector=(IDENTIFIER, Gap(9, 0x55, "raw", minimum=8), BLOCK, Gap(0, 0x55, "raw", minimum=1)),
    tail=Gap(1, 0x55, "raw"),
)
