"""What every kind of disc carries, written down a second time: slowly, from the published layouts, sharing nothing with the program.

Cells are strings of '0' and '1'. A track is a list of pieces; each piece knows what it is, so that an injector can hit any cell
and know what it hit. Sources: the field tables of the standards and handbooks that the program's declarations cite too
(ECMA-66 and ECMA-70 / ISO 7487 fields and the controllers' data sheets for FM and MFM; the drives' firmware listings for the group codes).
"""

from dataclasses import dataclass, field, replace

from model_codes import A1, C2, FM_INDEX, FM_MARKS, bits, crc, five_and_three, fm, four_and_four, four_to_five, inverted, mfm, six_and_two

# --- sectors and tracks -------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class Piece:
    """Some cells in a row. `field`: "identifier", "block" or "gap"; `sector`: whose (its place's number); `part`: which part of it."""

    field: str
    sector: int | None
    part: str
    cells: str


@dataclass(frozen=True)
class Sector:
    """One sector as it is to be recorded. Whatever is given here is recorded soundly, with right checks."""

    sector: int
    track: int
    head: int
    body: bytes
    identity: dict = field(default_factory=dict)
    deleted: bool = False
    bare: bool = False  # an identifier without its block
    owner: int | None = None  # which place of the geometry it stands for, when that is not `sector`


@dataclass
class Style:
    """The free choices of a track: nothing of this is judged. Draw one with `random_style`."""

    turn: int
    sync: tuple = (5, 5)  # 4-to-5: ones / 8; 6-and-2 and 5-and-3: self-syncs (gap2 only); FM and MFM: bytes of 00
    gap2: int = 9
    lead: int = 0
    order: tuple = ()
    off: bytes = b"\x0f\x0f\x00\x00"
    last: bytes = b"\xeb\xeb"
    spare: tuple = (0, 0)
    noise: str = ""
    index: bool = True
    shares: tuple = ()
    whole: bool = False  # bodies as one piece: quicker, where none is hit


def identifier(geo, sector, style):
    """The pieces of one identifier, from its mark on."""
    who = sector.sector if sector.owner is None else sector.owner
    piece = lambda part, cells: Piece("identifier", who, part, cells)
    if geo.code == "4to5":
        id1, id2 = sector.identity["id1"], sector.identity["id2"]
        check = sector.sector ^ sector.track ^ id2 ^ id1
        named = [("tag", 8), ("check", check), ("sector", sector.sector), ("track", sector.track), ("id2", id2), ("id1", id1)]
        return [piece(part, four_to_five([byte])) for part, byte in named] + [piece("off", four_to_five(style.off[:2]))]
    if geo.code in EPILOGUED:
        volume = sector.identity["volume"]
        named = [("volume", volume), ("track", sector.track), ("sector", sector.sector), ("check", volume ^ sector.track ^ sector.sector)]
        return (
            [piece("mark", bits(EPILOGUED[geo.code]))]
            + [piece(part, bits(four_and_four(byte))) for part, byte in named]
            + [piece("epilogue", bits(b"\xde\xaa")), piece("off", bits(style.last[:1]))]
        )
    body = bytes([sector.track, sector.head, sector.sector, sector.identity.get("length", geo.length)])
    mark, tag, cells, check = marked(geo, 0xFE, body)
    parts = zip(("track", "head", "sector", "length", "check", "check"), units(cells + check, 16), strict=True)
    return [piece(*one) for one in [*mark, *tag, *parts]]


EPILOGUED = {"6and2": b"\xd5\xaa\x96", "5and3": b"\xd5\xaa\xb5"}  # codes whose fields end in DE AA, and their identifiers' mark


def marked(geo, tag, body):
    """(mark, tag, body, check) of a field of FM or MFM, the first two as (part, cells) pieces; the CRC covers the marks too."""
    if geo.code == "fm":
        check = crc(bytes([tag]) + body)
        return [("mark", FM_MARKS[tag])], [], fm(body), fm(check)
    check = crc(b"\xa1\xa1\xa1" + bytes([tag]) + body)
    cells = mfm(bytes([tag]) + body + check, "1")
    return [("mark", A1 * 3)], [("tag", cells[:16])], cells[16:-32], cells[-32:]


def units(cells, size):
    """Cells in groups of so many."""
    return [cells[k : k + size] for k in range(0, len(cells), size)]


def block(geo, sector, style):
    """The pieces of one data block, from its mark on; "body" pieces are one code unit each, or one for all if the style has it `whole`."""
    who = sector.sector if sector.owner is None else sector.owner
    piece = lambda part, cells: Piece("block", who, part, cells)
    body = sector.body
    bodies = lambda cells, unit: [piece("body", one) for one in ([cells] if style.whole else units(cells, unit))]
    if geo.code == "4to5":
        check = 0
        for byte in body:
            check ^= byte
        return [
            piece("tag", four_to_five([7])),
            *bodies(four_to_five(body), 10),
            piece("check", four_to_five([check])),
            piece("off", four_to_five(style.off[2:])),
        ]
    if geo.code in EPILOGUED:
        coded = six_and_two(body, style.spare) if geo.code == "6and2" else five_and_three(body, style.spare[0] if style.spare else 0)
        return [
            piece("mark", bits(b"\xd5\xaa\xad")),
            *bodies(bits(coded[:-1]), 8),
            piece("check", bits(coded[-1:])),
            piece("epilogue", bits(b"\xde\xaa")),
            piece("off", bits(style.last[1:])),
        ]
    # READING: "data bus inverted on the disk in that family (stored bytes are complemented)": the sector's bytes are, numbers and marks
    # are not; the controller makes the CRC of what stands on the track.
    mark, tag, cells, check = marked(geo, 0xF8 if sector.deleted else 0xFB, inverted(body) if geo.complemented else body)
    return [*(piece(*one) for one in mark + tag), *bodies(cells, 16), *(piece("check", one) for one in units(check, 16))]


SELF_SYNC = {"6and2": "1111111100", "5and3": "111111110"}
FILL = {"4to5": "01010101", **SELF_SYNC, "fm": fm(b"\xff"), "mfm": mfm(b"\x4e")}


def run_up(geo, style, which):
    """The gap before an identifier (`which` 0) or before its block (1), with the sync that the reader needs."""
    if geo.code in SELF_SYNC:
        return SELF_SYNC[geo.code] * (style.sync[0] if which == 0 else style.gap2)
    gap = "" if which == 0 else FILL[geo.code] * style.gap2
    if geo.code == "4to5":
        return gap + "1" * (8 * style.sync[which])
    return gap + (fm if geo.code == "fm" else mfm)(bytes(style.sync[which]))


def filler(geo, cells, noise):
    """A gap of exactly so many cells, `noise` (a splice) somewhere inside."""
    pattern = FILL[geo.code]
    noise = noise[:cells]
    rest = cells - len(noise)
    plain = (pattern * (rest // len(pattern) + 1))[:rest]
    return plain[: rest // 2] + noise + plain[rest // 2 :]


def sector_pieces(geo, sector, style):
    """A sector as it lies on the track, without the gap after it."""
    who = sector.sector if sector.owner is None else sector.owner
    out = [Piece("gap", who, "sync", run_up(geo, style, 0)), *identifier(geo, sector, style)]
    if not sector.bare:
        out += [Piece("gap", who, "sync", run_up(geo, style, 1)), *block(geo, sector, style)]
    return out


def track_pieces(geo, sectors, style):
    """A whole turn of `style.turn` cells: the sectors in the given order, what is left over shared out among the gaps."""
    fixed = [sector_pieces(geo, sector, style) for sector in sectors]
    lead = []
    if geo.code == "mfm" and style.index:
        lead = [Piece("gap", None, "index", mfm(bytes(12)) + C2 * 3 + mfm(b"\xfc", "0"))]
    if geo.code == "fm" and style.index:
        lead = [Piece("gap", None, "index", fm(bytes(6)) + FM_INDEX)]
    used = sum(len(piece.cells) for pieces in [lead, *fixed] for piece in pieces)
    left = style.turn - used
    if left < 0:
        raise ValueError(f"{used} cells do not fit a turn of {style.turn}")
    shares = (list(style.shares) + [1] * (len(fixed) + 1))[: len(fixed) + 1]
    least = min(left // (len(fixed) + 1), 32)  # no gap so short that it is none
    rest = left - least * (len(fixed) + 1)
    gaps = [least + rest * share // sum(shares) for share in shares]
    gaps[0] += left - sum(gaps)
    out = [Piece("gap", None, "gap", filler(geo, gaps[0], style.noise)), *lead]
    for pieces, gap in zip(fixed, gaps[1:], strict=True):
        out += [*pieces, Piece("gap", None, "gap", filler(geo, gap, style.noise))]
    return out


def cells_of(pieces):
    """The cells of a list of pieces."""
    return "".join(piece.cells for piece in pieces)


def spans(pieces):
    """(piece, start, end) of each piece, in cells from the start."""
    out, at = [], 0
    for piece in pieces:
        out.append((piece, at, at + len(piece.cells)))
        at += len(piece.cells)
    return out


def plan(geo, dump, identity, cylinder, head):
    """The sectors of one track as the master wants them, in the order of their numbers."""
    out = []
    for index, (_, _, track, number) in geo.on_track(cylinder, head):
        body = dump[index * geo.size : (index + 1) * geo.size]
        out.append(Sector(number, track, head if geo.marked else 0, body, dict(identity)))
    return sorted(out, key=lambda sector: sector.sector)


SHORTEST = {"4to5": ((5, 5), 9), "6and2": ((8, 5), 5), "5and3": ((8, 5), 7), "mfm": ((8, 12), 22), "fm": ((5, 6), 11)}


def needed(geo, count):
    """Fewest cells that so many sectors need with the shortest run-ups that `random_style` draws."""
    style = Style(0, *SHORTEST[geo.code])
    one = sector_pieces(geo, Sector(1, 1, 0, bytes(geo.size), {"id1": 65, "id2": 65, "volume": 254}), style)
    return (len(cells_of(one)) + 32) * count + 600


def random_style(geo, cylinder, rng):
    """Free choices that no judgement may depend on: see `Style`."""
    count = len(geo.sectors(cylinder))
    nominal = geo.track_cells(cylinder)
    turn = rng.randint(max(int(nominal * 0.975), needed(geo, count)), int(nominal * 1.025))
    spare_bits = (turn - needed(geo, count)) // count
    more = lambda cells: rng.randint(0, max(0, min(3, spare_bits // 4 // cells)))
    order = list(range(count))
    if rng.random() < 0.5:
        rng.shuffle(order)
    style = Style(
        turn,
        order=tuple(order),
        off=bytes(rng.randrange(256) for _ in range(4)),
        last=bytes(rng.choice((0xEB, 0xFF, 0x96, 0x80, 0x00)) for _ in range(2)),
        spare=(rng.randrange(4), rng.randrange(4)),
        noise="".join(rng.choice(("01", "10", "100", "0")) for _ in range(rng.randrange(12))),
        index=rng.random() < 0.5,
        shares=tuple(rng.randint(1, 9) for _ in range(count + 1)),
    )
    sync, gap2 = SHORTEST[geo.code]
    if geo.code == "4to5":
        style.sync, style.gap2 = (5 + more(8), 5 + more(8)), 9 + rng.randint(-4, 0) + more(8)
    elif geo.code in SELF_SYNC:
        style.sync, style.gap2 = (sync[0] + more(len(SELF_SYNC[geo.code])), sync[1]), gap2 + more(len(SELF_SYNC[geo.code]))
    else:
        style.sync, style.gap2 = (sync[0] + more(16), sync[1] + more(16)), gap2 + rng.randint(-2, 0) + more(16)
    return style


def random_track(geo, dump, identity, cylinder, head, rng, whole=False):
    """The pieces of one track with free choices drawn from `rng`."""
    style = replace(random_style(geo, cylinder, rng), whole=whole)
    sectors = plan(geo, dump, identity, cylinder, head)
    return track_pieces(geo, [sectors[k] for k in style.order], style)


def damage_clocks(pieces, rng, count):
    """FM or MFM pieces with so many clock cells of bodies turned over; the marks' own cells stay (there the clock is the mark)."""
    out = list(pieces)
    hit = [k for k, piece in enumerate(out) if piece.part in ("body", "track", "check", "sector")]
    for k in rng.sample(hit, min(count, len(hit))):
        at = 2 * rng.randrange(len(out[k].cells) // 2)
        cells = out[k].cells
        out[k] = replace(out[k], cells=cells[:at] + ("0" if cells[at] == "1" else "1") + cells[at + 1 :])
    return out
