"""The rates of section 8 a second time, from the model's ledger. Slow and literal."""

from functools import cache

from model_geometry import GEOMETRIES
from model_ledger import disc_verdict, first_number, first_writing, rejected, settling, spent_for_good, unused
from scipy.stats import binomtest


def wilson(bad, discs):
    """Wilson's score interval at 95 %, from scipy."""
    found = binomtest(bad, discs).proportion_ci(confidence_level=0.95, method="wilson")
    return float(found.low), float(found.high)


def line_of(by, group, discs, bad, **more):
    """One line of `rates --json`."""
    low, high = wilson(bad, discs)
    return {
        "by": by, "group": group, "discs": discs, "bad": bad, "rate": bad / discs, "low": low, "high": high, "confidence": 0.95,
        "method": "wilson", **more,
    }  # fmt: skip


def rates(led, by, role="wrote"):
    """The lines of `rates --json`. "Groups without discs are left out; order: as created, tracks ascending." """
    if by in ("batch", "lot", "inner"):
        return [line for group in groups(led, by) if (line := of_discs(led, by, group))]
    if by == "track":
        return list(of_tracks(led))
    if by == "side":
        return [line for side in "AB" if (line := of_side(led, side))]
    made = wrote_line if role == "wrote" else read_line
    return [line for drive in led.drives if (line := made(led, drive))]


# --- by batch, lot, inner box -------------------------------------------------------------------------------------------------


def groups(led, by):
    """The names of the groups, as created; inner boxes by number within their lot."""
    if by == "batch":
        return list(led.batches)
    if by == "lot":
        return led.lots
    boxes = {(led.lots.index(disc.lot), disc.inner) for disc in led.discs.values() if disc.lot and disc.inner}
    return [f"{led.lots[lot]}/{inner}" for lot, inner in sorted(boxes)]


def is_of(disc, by, group):
    """Whether a disc counts in a group: "a disc counts in its newest batch only"."""
    if by == "batch":
        return disc.batch["batch"] == group
    return disc.lot == group if by == "lot" else f"{disc.lot}/{disc.inner}" == group


def of_discs(led, by, group):
    """A line by batch, lot or inner box; None without discs."""
    members = [disc for disc in led.discs.values() if is_of(disc, by, group) and not unused(led, disc)]
    counted = [disc for disc in members if decided(led, disc) or left_bad(led, disc)]
    if not counted:
        return None
    return line_of(
        by,
        group,
        len(counted),
        # "`bad`: rejected ones [...] and those of them that stand at `fail` are in `discs` and `bad`"
        sum(rejected(led, disc) or left_bad(led, disc) for disc in counted),
        working=sum(working(led, disc) and not closed(led, disc) for disc in members),
        # "discs of closed batches that would be working, taken over by no batch; they are not in `working`"
        abandoned=sum(working(led, disc) and closed(led, disc) and not left_bad(led, disc) for disc in members),
        # READING: of those that are in `discs`.
        rewritten=sum(rewritten(disc) for disc in counted),
        # READING: of all the group's discs, decided or not (the text's example has more of them than `discs`).
        first_read=sum(first_read(led, disc) for disc in members),
        first_bad=sum(any(bad for bad in first_reads(led, disc)) for disc in members),
        simulated=any(is_simulated(led, disc) for disc in counted),
    )


def closed(led, disc):
    """Whether its newest batch was closed."""
    return disc.batch["batch"] in led.closed


def decided(led, disc):
    """ "A disc is *decided* when it is `pass` or rejected"."""
    return disc_verdict(led, disc) == "pass" or rejected(led, disc)


def working(led, disc):
    """ "*working* when it has a settling read and is neither"."""
    # READING: a reworked side's reads of before are none of what it is now.
    of_now = [w for w in disc.writings if w.number >= first_number(disc, w.side)]
    return any(settling(led, disc, w) for w in of_now) and not decided(led, disc)


def left_bad(led, disc):
    """Whether its batch was closed while it stood at `fail`, unfinished."""
    return closed(led, disc) and working(led, disc) and disc_verdict(led, disc) == "fail"


def rewritten(disc):
    """ "with a second writing of a side in that batch"."""
    # READING: a second one (`--continue` counts on), and it was made in that batch.
    return any(w.batch is disc.batch and w.number > first_number(disc, w.side) for w in disc.writings)


def first_reads(led, disc):
    """For each side whose first writing has a settling read: whether the first such did not pass."""
    firsts = [settling(led, disc, first_writing(disc, side)) for side in disc.sides if first_writing(disc, side)]
    return [reads[0][1] != "pass" for reads in firsts if reads]


def first_read(led, disc):
    """ "a first settling read of the first writing of every side, or of one side if it did not pass"."""
    reads = first_reads(led, disc)
    return len(reads) == len(disc.sides) or any(reads)


def is_simulated(led, disc):
    """Whether a settling read of it is."""
    return any(read.line["simulated"] for writing in disc.writings for read, _ in settling(led, disc, writing))


# --- by drive, side, track ----------------------------------------------------------------------------------------------------


def first_ones(led, disc):
    """The writings of a disc that are first ones: "a reworked side's first writing in its new batch is a first writing"."""
    for writing in disc.writings:
        reworked = [
            max((w.number for w in disc.writings if w.side == writing.side and w.row < row), default=0) + 1
            for row, sides in disc.reworks
            if writing.side in sides
        ]
        if writing.number in (1, *reworked):
            yield writing


def units(led, holds=False):
    """[(disc, first writing, its first settling read, what that counts as)]."""
    # "Reads by a drive [before its hold] settle nothing (only `rates --by drive` still counts them as settling)"
    for disc in led.discs.values():
        for writing in first_ones(led, disc):
            reads = settling(led, disc, writing, holds)
            if reads:
                yield disc, writing, *reads[0]


def simulated(unit_list):
    """Whether a settling read of any counted unit is. The read that a unit is counted by."""
    return any(read.line["simulated"] for _, _, read, _ in unit_list)


def lost(led, disc, writing):
    """ "bad units whose side made its disc rejected"."""
    return spent_for_good(led, disc, writing.side)


def wrote_line(led, drive):
    """A line by the drive that wrote; None without units."""
    mine = [unit for unit in units(led) if unit[1].drive == drive]
    if not mine:
        return None
    bad = [unit for unit in mine if unit[3] != "pass"]
    later = []
    for disc in led.discs.values():
        firsts = list(first_ones(led, disc))
        later += [settling(led, disc, w, holds=False) for w in disc.writings if w.drive == drive and w not in firsts]
    later = [reads for reads in later if reads]  # "later writings by this drive, that were read"
    return line_of(
        "drive", drive, len(mine), len(bad),
        saved=sum(disc_verdict(led, disc) == "pass" for disc, _, _, _ in bad),
        lost=sum(lost(led, disc, writing) for disc, writing, _, _ in bad),
        rescues=len(later), rescued=sum(reads[0][1] == "pass" for reads in later), simulated=simulated(mine),
    )  # fmt: skip


def read_line(led, drive):
    """A line by the drive that read; None without units."""
    mine = [unit for unit in units(led) if unit[2].read_by == drive]
    if not mine:
        return None
    bad = [unit for unit in mine if unit[3] != "pass"]
    return line_of("drive", drive, len(mine), len(bad), denied=sum(denied(led, *unit[:3]) for unit in bad), simulated=simulated(mine))


def denied(led, disc, writing, read):
    """ "the same writing was then read well twice by other drives"."""
    reads = settling(led, disc, writing, holds=False)
    return sum(verdict == "pass" and r.row > read.row and r.read_by not in (None, read.read_by) for r, verdict in reads) >= 2


def of_side(led, side):
    """A line by side: "the same units as `wrote`, by side, with `lost`"."""
    mine = [unit for unit in units(led) if unit[1].side == side and unit[1].drive is not None]
    bad = [unit for unit in mine if unit[3] != "pass"]
    if not mine:
        return None
    return line_of(
        "side", side, len(mine), len(bad), lost=sum(lost(led, disc, writing) for disc, writing, _, _ in bad), simulated=simulated(mine)
    )


@cache
def sectors_of(geometry):
    """{(head, track): its sectors} of a geometry, with the identifiers' numbers."""
    found = {}
    for _, head, track, sector in GEOMETRIES[geometry].places():
        found.setdefault((head, track), set()).add(sector)
    return found


def of_tracks(led):
    """ "first settling reads of first writings that tried the track; `bad`: a finding other than `soft` there"."""
    tried = {}
    for _, writing, read, _ in units(led, holds=True):
        # READING: the batch that the writing was made in says which geometry the side had.
        geometry = writing.batch["sides"][writing.side]
        for (head, track), sectors in sectors_of(geometry).items():
            there = [f for f in read.line["findings"] if (f["head"], f["track"]) == (head, track)]
            if sectors - {f["sector"] for f in there if f["kind"] == "not-tried"}:
                bad = any(f["kind"] != "soft" for f in there)
                tried.setdefault((writing.side, head, track, geometry), []).append((bad, read.line["simulated"]))
    # READING: "groups of other geometries apart": the tracks of one geometry, then those of the next by name.
    for side, head, track, geometry in sorted(tried, key=lambda key: (key[0], key[3], *key[1:3])):
        found = tried[side, head, track, geometry]
        yield line_of(
            "track", f"{side}/{head}/{track}", len(found), sum(bad for bad, _ in found), geometry=geometry,
            simulated=any(one for _, one in found),
        )  # fmt: skip
