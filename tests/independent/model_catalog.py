"""The catalog volume by facts.md section 7b: table of contents on 17/0, catalog below it, lists of tracks and sectors."""

from model_volumes import File, Held, Room, carrying, little, must, noise, number

SECTORS = {"gcr6and2-35x16x256": 16, "gcr5and3-35x13x256": 13}
BLANK = {"gcr6and2-35x16x256": 496, "gcr5and3-35x13x256": 403}
IDENTIFIERS = {16: (0, 13, 11, 9, 7, 5, 3, 1, 14, 12, 10, 8, 6, 4, 2, 15), 13: tuple(range(13))}  # by place; contract.md section 2
TYPES = {"text": 0, "integer": 1, "floating": 2, "binary": 4}
PAIRS = 122


def stored(file):
    """The bytes in a file's sectors, and those that its words leave to its owner."""
    if file.type == "binary":
        return little(file.load) + little(len(file.data)) + file.data
    if file.type not in TYPES:
        return file.data  # what these hold, no text at hand says
    return file.data + b"\0" if file.type == "text" else little(len(file.data)) + file.data


def bit(sectors, sector):
    """Where the map has a sector: which byte, which bit. Bit 7 of byte 0 is a track's last sector.

    The text says so of 16 sectors only. That 13 begin at bit 7, too, is from memory: the allocator shifts bits out there as it counts down.
    """
    from_top = sectors - 1 - sector
    return from_top // 8, 7 - from_top % 8


class Disc:
    """A disc under construction: sectors by (track, sector)."""

    def __init__(self, geometry, rng, volume=254):
        self.rng, self.volume, self.sectors = rng, volume, SECTORS[geometry]
        self.all = [(t, s) for t in range(35) for s in range(self.sectors)]
        self.data = {at: bytearray(noise(rng, 256)) for at in self.all}
        self.room = Room([at for at in self.all if at[0] > 2 and at[0] != 17], rng)
        self.entries, self.held, self.chains, self.lists = [], [], {}, {}

    def put(self, file, holes=(), raw=None, spare=0):
        """A file anywhere. `holes`: sectors of it that are not there; `raw`: what its sectors hold; `spare`: sectors behind its end."""
        body = stored(file) if raw is None else raw
        pieces = [body[at : at + 256] for at in range(0, len(body), 256)] + [b""] * spare
        where = []
        for k, piece in enumerate(pieces):
            if k in holes:
                assert not any(piece)
                where.append((0, 0))
                continue
            [at] = self.room.take()
            self.data[at][: len(piece)] = piece
            where.append(at)
        lists = self.put_lists(where)
        kind = TYPES.get(file.type, file.type) | (0x80 if file.locked else 0)
        there = [at for at in where if at != (0, 0)]
        name = bytes(byte | 0x80 for byte in file.name).ljust(30, b"\xa0")
        self.entries.append(bytes([*lists[0], kind]) + name + little(len(there) + len(lists)))
        self.chains[file.name], self.lists[file.name] = there, lists
        before = {"binary": 4, "integer": 2, "floating": 2}.get(file.type, 0)
        self.held.append((file, carrying([(t, 0, IDENTIFIERS[self.sectors][s]) for t, s in there], file.data, 256, before)))

    def put_lists(self, where):
        """Lists of 122 pairs, in sectors anywhere; a file without any has one all the same."""
        parts = [where[at : at + PAIRS] for at in range(0, len(where), PAIRS)] or [[]]
        lists = self.room.take(len(parts))
        for k, (at, part) in enumerate(zip(lists, parts, strict=True)):
            link = bytes(lists[k + 1]) if k + 1 < len(lists) else b"\0\0"
            head = b"\0" + link + b"\0\0" + little(PAIRS * k) + bytes(5)
            self.data[at][:] = (head + b"".join(map(bytes, part))).ljust(256, b"\0")
        return lists

    def delete(self):
        """What is left of a deleted file: FF, and its track in the last character of the name."""
        track, sector = self.rng.choice(self.room.free)
        name = bytes(byte | 0x80 for byte in b"GONE").ljust(29, b"\xa0")
        self.entries.append(bytes([0xFF, sector, 4]) + name + bytes([track]) + little(5))

    def dump(self):
        """The disc's bytes, table of contents and catalog written."""
        last = self.sectors - 1
        for sector in range(last, 0, -1):
            mine = b"".join(self.entries[7 * (last - sector) :][:7])
            link = bytes([17, sector - 1]) if sector > 1 else b"\0\0"
            self.data[17, sector][:] = (b"\0" + link + bytes(8) + mine).ljust(256, b"\0")
        table = bytearray(256)
        table[1:4] = bytes([17, last, 3 if self.sectors == 16 else 2])
        table[6], table[0x27], table[0x30], table[0x31] = self.volume, PAIRS, 18, 1
        table[0x34:0x38] = bytes([35, self.sectors]) + little(256)
        for track, sector in self.room.free:
            byte, place = bit(self.sectors, sector)
            table[0x38 + 4 * track + byte] |= 1 << place
        self.data[17, 0][:] = table
        return b"".join(bytes(self.data[at]) for at in self.all)

    def expected(self):
        """What a reader has to find."""
        files = [file for file, _ in self.held]
        return Held(b"", files, len(self.room.free), 256, [where for _, where in self.held])


def held(geometry, dump):
    """Reads a disc by its catalog and lists, and holds its map against what they use."""
    sectors = SECTORS[geometry]
    used = {(t, s) for t in (0, 1, 2) for s in range(sectors)} | {(17, 0)}

    def at(track, sector):
        must(track < 35 and sector < sectors, f"no sector {track}/{sector}")
        must((track, sector) not in used, f"{track}/{sector} used twice")
        used.add((track, sector))
        return dump[256 * (sectors * track + sector) :][:256]

    def follow(track, sector):
        while (track, sector) != (0, 0):
            found = at(track, sector)
            yield found
            track, sector = found[1:3]

    table, files = dump[256 * 17 * sectors :][:256], []
    must((table[0x27], table[0x34], table[0x35], number(table, 0x36)) == (PAIRS, 35, sectors, 256), "constants of the table")
    for block in list(follow(*table[1:3])):
        for start in range(0x0B, 0x0B + 7 * 35, 35):
            entry = block[start : start + 35]
            if entry[0] not in (0, 0xFF):
                files.append(one(entry, list(follow(entry[0], entry[1])), at))
    free = 0
    for track in range(35):
        for sector in range(sectors):
            byte, place = bit(sectors, sector)
            says = table[0x38 + 4 * track + byte] >> place & 1
            must(says == ((track, sector) not in used), f"map of {track}/{sector}")
            free += says
    return Held(b"", files, free, 256)


def one(entry, lists, at):
    """The file of one entry."""
    pairs = [pair for each in lists for pair in zip(each[0x0C::2], each[0x0D::2], strict=True)]
    must([number(each, 5) for each in lists] == [PAIRS * k for k in range(len(lists))], "offsets of the lists")
    while pairs and pairs[-1] == (0, 0):
        pairs.pop()
    data = b"".join(at(*pair) if pair != (0, 0) else bytes(256) for pair in pairs)
    must(number(entry, 0x21) == len(lists) + sum(pair != (0, 0) for pair in pairs), "length in sectors")
    kind = next((name for name, code in TYPES.items() if code == entry[2] & 0x7F), entry[2] & 0x7F)
    load = number(data, 0) if kind == "binary" else None
    before = {"binary": 4, "text": 0}.get(kind, 2)
    if kind not in TYPES:
        before, length = 0, len(data)
    else:
        length = (data + b"\0").index(0) if kind == "text" else number(data, before - 2)
    must(before + length <= len(data), "length word")
    name = bytes(byte & 0x7F for byte in entry[3:33]).rstrip(b" ")
    return File(name, data[before : before + length], kind, load, entry[2] > 0x7F)
