"""What four kinds of disc carry, written down a second time: slowly, from the published layouts, sharing nothing with the program.

Cells are strings of '0' and '1'. A track is a list of pieces; each piece knows what it is, so that an injector can hit any cell
and know what it hit. Sources: the field tables of the standards and handbooks that the program's declarations cite too
(ECMA-70 / ISO 7487 fields and the controllers' data sheets for MFM; the drives' firmware listings for the group codes).
"""

import binascii
import struct
from dataclasses import dataclass, field, replace

# --- geometries ---------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Geo:
    """One geometry: `code` is "4to5", "6and2" or "mfm"; `size` is the bytes of a sector."""

    id: str
    code: str
    cylinders: int
    heads: int
    first_track: int
    size: int

    def sectors(self, cylinder):
        """The identifiers' numbers of one track, in the order in which a dump holds them."""
        if self.code == "4to5":
            track = cylinder + 1
            return list(range(21 if track <= 17 else 19 if track <= 24 else 18 if track <= 30 else 17))
        if self.code == "6and2":
            return [0, 13, 11, 9, 7, 5, 3, 1, 14, 12, 10, 8, 6, 4, 2, 15]
        return list(range(1, 10))

    def cell_ps(self, cylinder):
        """The length of a cell in picoseconds."""
        if self.code == "4to5":
            return {21: 3_250_000, 19: 3_500_000, 18: 3_750_000, 17: 4_000_000}[len(self.sectors(cylinder))]
        return 4_000_000 if self.code == "6and2" else 2_000_000

    def track_cells(self, cylinder):
        """Whole cells of a nominal turn of 200 ms."""
        return 200_000_000_000 // self.cell_ps(cylinder)

    def places(self):
        """(cylinder, head, track, sector) of every sector in dump order."""
        return [(c, h, c + self.first_track, s) for c in range(self.cylinders) for h in range(self.heads) for s in self.sectors(c)]

    def bytes(self):
        """The length of a dump."""
        return len(self.places()) * self.size


GEOMETRIES = {
    geo.id: geo
    for geo in (
        Geo("gcr4to5-35z", "4to5", 35, 1, 1, 256),
        Geo("gcr6and2-35x16x256", "6and2", 35, 1, 0, 256),
        Geo("mfm-40x9x512", "mfm", 40, 1, 0, 512),
        Geo("mfm-40x9x512-2s", "mfm", 40, 2, 0, 512),
    )
}

# --- codes --------------------------------------------------------------------------------------------------------------------

NIBBLES = ["01010", "01011", "10010", "10011", "01110", "01111", "10110", "10111",
           "01001", "11001", "11010", "11011", "01101", "11101", "11110", "10101"]  # fmt: skip
SIX = bytes.fromhex(
    "96979A9B9D9E9FA6A7ABACADAEAFB2B3B4B5B6B7B9BABBBCBDBEBFCBCDCECFD3D6D7D9DADBDCDDDEDFE5E6E7E9EAEBECEDEEEFF2F3F4F5F6F7F9FAFBFCFDFEFF"
)
A1 = f"{0x4489:016b}"  # A1 without the clock before b2
C2 = f"{0x5224:016b}"  # C2 without the clock before b3


def bits(data):
    """Bytes as their bits, most significant first."""
    return "".join(f"{byte:08b}" for byte in data)


def four_to_five(data):
    """Each nibble as its five-bit word, high nibble first."""
    return "".join(NIBBLES[byte >> 4] + NIBBLES[byte & 15] for byte in data)


def four_and_four(byte):
    """A byte as two: the odd bits, then the even bits, each between ones."""
    return bytes([(byte >> 1) | 0xAA, byte | 0xAA])


def swap(pair):
    """Two bits in the other order."""
    return ((pair & 1) << 1) | (pair >> 1)


def six_and_two(body, spare=None):
    """256 bytes as 342 chained disk bytes and the check; `spare` fills the two unused bit pairs (default: the listing's wrap)."""
    spare = (body[0], body[1]) if spare is None else spare
    third = list(body[172:]) + list(spare)
    low = [swap(body[j] & 3) | swap(body[j + 86] & 3) << 2 | swap(third[j] & 3) << 4 for j in range(86)]
    values = low + [byte >> 2 for byte in body]
    chained = [values[0]] + [values[k] ^ values[k - 1] for k in range(1, 342)] + [values[341]]
    return bytes(SIX[value] for value in chained)


def mfm(data, before="0"):
    """Bytes as MFM cells: a clock only between two zeros. `before`: the data bit just before."""
    out = []
    for bit in bits(data):
        out.append("1" if before == "0" and bit == "0" else "0")
        out.append(bit)
        before = bit
    return "".join(out)


def crc(data):
    """The CRC of FM and MFM: x^16 + x^12 + x^5 + 1, preset to ones."""
    return struct.pack(">H", binascii.crc_hqx(data, 0xFFFF))


# --- sectors and tracks -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
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
    sync: tuple = (5, 5)  # 4-to-5: ones / 8; 6-and-2: self-syncs (gap2 only); MFM: bytes of 00
    gap2: int = 9
    lead: int = 0
    order: tuple = ()
    off: bytes = b"\x0f\x0f\x00\x00"
    last: bytes = b"\xeb\xeb"
    spare: tuple = (0, 0)
    noise: str = ""
    index: bool = True
    shares: tuple = ()


def identifier(geo, sector, style):
    """The pieces of one identifier, from its mark on."""
    who = sector.sector if sector.owner is None else sector.owner
    piece = lambda part, cells: Piece("identifier", who, part, cells)
    if geo.code == "4to5":
        id1, id2 = sector.identity["id1"], sector.identity["id2"]
        check = sector.sector ^ sector.track ^ id2 ^ id1
        named = [("tag", 8), ("check", check), ("sector", sector.sector), ("track", sector.track), ("id2", id2), ("id1", id1)]
        return [piece(part, four_to_five([byte])) for part, byte in named] + [piece("off", four_to_five(style.off[:2]))]
    if geo.code == "6and2":
        volume = sector.identity["volume"]
        named = [("volume", volume), ("track", sector.track), ("sector", sector.sector), ("check", volume ^ sector.track ^ sector.sector)]
        return (
            [piece("mark", bits(b"\xd5\xaa\x96"))]
            + [piece(part, bits(four_and_four(byte))) for part, byte in named]
            + [piece("epilogue", bits(b"\xde\xaa")), piece("off", bits(style.last[:1]))]
        )
    length = sector.identity.get("length", 2)
    plain = bytes([0xFE, sector.track, sector.head, sector.sector, length])
    cells = mfm(plain + crc(b"\xa1\xa1\xa1" + plain), "1")
    parts = ["tag", "track", "head", "sector", "length", "check", "check"]
    return [piece("mark", A1 * 3)] + [piece(part, cells[16 * k : 16 * k + 16]) for k, part in enumerate(parts)]


def block(geo, sector, style):
    """The pieces of one data block, from its mark on; "body" pieces are one code unit each."""
    who = sector.sector if sector.owner is None else sector.owner
    piece = lambda part, cells: Piece("block", who, part, cells)
    body = sector.body
    if geo.code == "4to5":
        check = 0
        for byte in body:
            check ^= byte
        return (
            [piece("tag", four_to_five([7]))]
            + [piece("body", four_to_five([byte])) for byte in body]
            + [piece("check", four_to_five([check])), piece("off", four_to_five(style.off[2:]))]
        )
    if geo.code == "6and2":
        coded = six_and_two(body, style.spare)
        return (
            [piece("mark", bits(b"\xd5\xaa\xad"))]
            + [piece("body", bits([byte])) for byte in coded[:342]]
            + [piece("check", bits(coded[342:])), piece("epilogue", bits(b"\xde\xaa")), piece("off", bits(style.last[1:]))]
        )
    plain = bytes([0xF8 if sector.deleted else 0xFB]) + body
    cells = mfm(plain + crc(b"\xa1\xa1\xa1" + plain), "1")
    parts = ["tag"] + ["body"] * len(body) + ["check", "check"]
    return [piece("mark", A1 * 3)] + [piece(part, cells[16 * k : 16 * k + 16]) for k, part in enumerate(parts)]


SELF_SYNC = "1111111100"


def run_up(geo, style, which):
    """The gap before an identifier (`which` 0) or before its block (1), with the sync that the reader needs."""
    if geo.code == "4to5":
        gap = "" if which == 0 else bits(b"\x55" * style.gap2)
        return gap + "1" * (8 * style.sync[which])
    if geo.code == "6and2":
        return SELF_SYNC * (style.sync[0] if which == 0 else style.gap2)
    gap = "" if which == 0 else mfm(b"\x4e" * style.gap2)
    return gap + mfm(bytes(style.sync[which]))


def filler(geo, cells, noise):
    """A gap of exactly so many cells, `noise` (a splice) somewhere inside."""
    pattern = {"4to5": "01010101", "6and2": SELF_SYNC, "mfm": f"{0x9254:016b}"}[geo.code]
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
    for index, (c, h, track, number) in enumerate(geo.places()):
        if (c, h) == (cylinder, head):
            body = dump[index * geo.size : (index + 1) * geo.size]
            out.append(Sector(number, track, head if geo.code == "mfm" else 0, body, dict(identity)))
    return sorted(out, key=lambda sector: sector.sector)


def needed(geo, count):
    """Fewest cells that so many sectors need with the shortest run-ups that `random_style` draws."""
    style = Style(0, *{"4to5": ((5, 5), 9), "6and2": ((8, 5), 5), "mfm": ((8, 12), 22)}[geo.code])
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
    if geo.code == "4to5":
        style.sync, style.gap2 = (5 + more(8), 5 + more(8)), 9 + rng.randint(-4, 0) + more(8)
    elif geo.code == "6and2":
        style.sync, style.gap2 = (8 + more(10), 5), 5 + more(10)
    else:
        style.sync, style.gap2 = (8 + more(16), 12 + more(16)), 22 + rng.randint(-2, 0) + more(16)
    return style


def random_track(geo, dump, identity, cylinder, head, rng):
    """The pieces of one track with free choices drawn from `rng`."""
    style = random_style(geo, cylinder, rng)
    sectors = plan(geo, dump, identity, cylinder, head)
    return track_pieces(geo, [sectors[k] for k in style.order], style)


def damage_clocks(pieces, rng, count):
    """MFM pieces with so many clock cells of bodies turned over; the marks' own cells stay (there the clock is the mark)."""
    out = list(pieces)
    hit = [k for k, piece in enumerate(out) if piece.part in ("body", "track", "check", "sector")]
    for k in rng.sample(hit, min(count, len(hit))):
        at = 2 * rng.randrange(len(out[k].cells) // 2)
        cells = out[k].cells
        out[k] = replace(out[k], cells=cells[:at] + ("0" if cells[at] == "1" else "1") + cells[at + 1 :])
    return out
