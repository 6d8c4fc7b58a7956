"""The zoned volume by facts.md section 7a: block map and directory on track 18, on 77 tracks on 39 with the map on 38."""

from model_volumes import File, Held, Room, little, must, noise, number

ZONES = {  # last track of each zone, its sectors; facts.md section 0
    "gcr4to5-35z": ((17, 21), (24, 19), (30, 18), (35, 17)),
    "gcr4to5-35z20": ((17, 21), (24, 20), (30, 18), (35, 17)),
    "gcr4to5-40z": ((17, 21), (24, 19), (30, 18), (40, 17)),
    "gcr4to5-77z": ((39, 29), (53, 27), (64, 25), (77, 23)),
    "gcr4to5-77z-2s": ((39, 29), (53, 27), (64, 25), (77, 23)),
}
BLANK = {"gcr4to5-35z": 664, "gcr4to5-35z20": 670, "gcr4to5-40z": 768 - 19, "gcr4to5-77z": 2052, "gcr4to5-77z-2s": 4133}
TYPES = {"sequential": 1, "program": 2, "user": 3}
DATA = 254


class Layout:
    """Where everything lies on one geometry. Tracks of head 1 count on from those of head 0."""

    def __init__(self, geometry):
        self.zones, self.big = ZONES[geometry], "77" in geometry
        self.face = self.zones[-1][0]
        self.tracks = self.face * (2 if geometry.endswith("-2s") else 1)
        self.directory = 39 if self.big else 18
        self.first_generation = geometry == "gcr4to5-35z20"
        self.maps = [(38, 3 * k) for k in range((self.tracks + 49) // 50)] if self.big else [(18, 0)]
        self.starts, at = {}, 0
        for track in range(1, self.tracks + 1):
            self.starts[track] = at
            at += self.count(track)
        self.sectors = at

    def count(self, track):
        """How many sectors a track has."""
        track = track - self.face if track > self.face else track
        return next(sectors for last, sectors in self.zones if track <= last)

    def place(self, track, sector):
        """Which sector of the dump that is."""
        must(1 <= track <= self.tracks and sector < self.count(track), f"no sector {track}/{sector}")
        return self.starts[track] + sector

    def address(self, track, sector):
        """As the program tells it: the identifier's track, the head, the sector."""
        return (track, 1 if track > self.face else 0, sector)

    def entry(self, track):
        """Where the map keeps a track: map sector, offset of the entry, bytes of bits."""
        if self.big:
            return self.maps[(track - 1) // 50], 6 + 5 * ((track - 1) % 50), 4
        return (18, 0), 4 * track if track <= 35 else 0xC0 + 4 * (track - 36), 3


class Disc:
    """A disc under construction: sectors by (track, sector), entries in the order of the directory."""

    def __init__(self, geometry, rng, label=b"NIGHT POST", disc_id=b"NP"):
        self.layout, self.rng, self.label, self.id = Layout(geometry), rng, label, disc_id
        where = self.layout
        self.all = [(t, s) for t in range(1, where.tracks + 1) for s in range(where.count(t))]
        self.data = {at: bytearray(noise(rng, 256)) for at in self.all}
        self.room = Room([at for at in self.all if at[0] != where.directory and at not in where.maps], rng)
        self.entries, self.held, self.chains = [], [], {}

    def chain(self, pieces, where=None):
        """Lays pieces of up to 254 bytes into linked sectors; gives those back."""
        where = where or self.room.take(len(pieces))
        for k, (at, piece) in enumerate(zip(where, pieces, strict=True)):
            link = bytes(where[k + 1]) if k + 1 < len(where) else bytes([0, len(piece) + 1])
            self.data[at][: 2 + len(piece)] = link + piece
        return where

    def put(self, file, extra=bytes(9)):
        """A file anywhere, its entry behind the others."""
        pieces = [file.data[at : at + DATA] for at in range(0, len(file.data), DATA)] or [b""]
        self.chains[file.name] = where = self.chain(pieces)
        kind = TYPES[file.type] | 0x80 | (0x40 if file.locked else 0)
        self.entries.append(bytes([kind, *where[0]]) + file.name.ljust(16, b"\xa0") + extra + little(len(where)))
        self.held.append((file, [self.layout.address(*at) for at in where]))

    def put_relative(self, name, data, length):
        """A file of records with its side sector (what that holds: from memory). The contract names no such type: it is told as 4."""
        where = self.chains[name] = self.chain([data[at : at + DATA] for at in range(0, len(data), DATA)])
        [side] = self.room.take()
        self.chain([bytes([0, length, *side]) + bytes(11) + b"".join(map(bytes, where))], [side])
        kind = bytes([0x84, *where[0]]) + name.ljust(16, b"\xa0")
        self.entries.append(kind + bytes([*side, length]) + bytes(6) + little(len(where) + 1))
        self.held.append((File(name, data, 4), [self.layout.address(*at) for at in where]))

    def scratch(self):
        """What is left of a file that was deleted: its entry with type 00, its sectors free."""
        at = self.rng.choice(self.room.free)
        self.entries.append(bytes([0, *at]) + b"GONE".ljust(16, b"\xa0") + bytes(9) + little(3))

    def directory_sectors(self):
        """The directory's sectors: the first is sector 1, the others in no order."""
        first, *others = [(self.layout.directory, s) for s in range(1, self.layout.count(self.layout.directory))]
        self.rng.shuffle(others)
        return [first, *others][: max(1, (len(self.entries) + 7) // 8)]

    def dump(self):
        """The disc's bytes, map and directory written."""
        used = set(self.all) - set(self.room.free)
        on_directory_track = {at for at in self.all if at[0] == self.layout.directory}
        sectors = self.directory_sectors()
        used = used - on_directory_track | set(sectors) | {(self.layout.directory, 0)}
        for k, at in enumerate(sectors):
            link = bytes(sectors[k + 1]) if k + 1 < len(sectors) else b"\x00\xff"
            mine = self.entries[8 * k : 8 * k + 8]
            body = b"".join(b"\0\0" + entry for entry in mine).ljust(256, b"\0")
            self.data[at][:] = link + body[2:]
        self.write_maps(used)
        return b"".join(bytes(self.data[at]) for at in self.all)

    def write_maps(self, used):
        where = self.layout
        name, identity = self.label.ljust(16, b"\xa0"), self.id
        if where.big:
            head = bytes([38, 0, 0x43, 0, 0, 0]) + name + b"\xa0\xa0" + identity + b"\xa02C" + b"\xa0" * 4
            self.data[39, 0][:] = head.ljust(256, b"\0")
            for k, at in enumerate(where.maps):
                link = bytes(where.maps[k + 1]) if k + 1 < len(where.maps) else bytes([39, 1])
                first, end = 50 * k + 1, min(50 * k + 50, where.tracks) + 1
                self.data[at][:] = (link + bytes([0x43, 0, first, end])).ljust(256, b"\0")
        else:
            version = (b"\x01", b"\xa0\xa0") if where.first_generation else (b"A", b"2A")
            tail = name + b"\xa0\xa0" + identity + b"\xa0" + version[1] + b"\xa0" * 4
            self.data[18, 0][:] = (b"\x12\x01" + version[0] + bytes(0x8D) + tail).ljust(256, b"\0")
        for track in range(1, where.tracks + 1):
            at, offset, size = where.entry(track)
            free = [s for s in range(where.count(track)) if (track, s) not in used]
            self.data[at][offset : offset + 1 + size] = bytes([len(free)]) + little(sum(2**s for s in free), size)

    def expected(self):
        """What a reader has to find."""
        files = [file for file, _ in self.held]
        return Held(self.label, files, len(self.room.free), DATA, [where for _, where in self.held])


def held(geometry, dump):
    """Reads a disc by its links, and holds its map against what its chains use."""
    where = Layout(geometry)
    at = lambda track, sector: dump[256 * where.place(track, sector) :][:256]
    used, files = {(where.directory, 0), *where.maps}, []

    def follow(track, sector):
        while track:
            must((track, sector) not in used, f"{track}/{sector} used twice")
            used.add((track, sector))
            yield at(track, sector)
            track, sector = at(track, sector)[:2]

    header = at(where.directory, 0)
    label = header[6:22] if where.big else header[0x90:0xA0]
    must(tuple(header[:2]) == ((38, 0) if where.big else (18, 1)), "link of the header")
    for k, block in enumerate(where.maps if where.big else []):
        link = where.maps[k + 1] if block != where.maps[-1] else (39, 1)
        must(tuple(at(*block)[:2]) == link, "link of the map")
        must(tuple(at(*block)[4:6]) == (50 * k + 1, min(50 * k + 50, where.tracks) + 1), "tracks of the map")
    for block in list(follow(where.directory, 1)):
        for start in range(0, 256, 32):
            entry = block[start : start + 32]
            if not entry[2]:
                continue
            must(entry[2] & 0x80, "closed")
            chain = list(follow(entry[3], entry[4]))
            sides = list(follow(entry[0x15], entry[0x16])) if entry[2] & 7 == 4 else []
            must(number(entry, 0x1E) == len(chain) + len(sides), "length in blocks")
            must(chain[-1][1] > 0, "index of the last byte used")
            data = b"".join(b[2:] for b in chain[:-1]) + chain[-1][2 : chain[-1][1] + 1]
            kind = next((name for name, code in TYPES.items() if code == entry[2] & 7), entry[2] & 7)
            load = number(data, 0) if kind == "program" and len(data) > 1 else None
            files.append(File(entry[5:21].rstrip(b"\xa0"), data, kind, load, bool(entry[2] & 0x40)))
    free = 0
    for track in range(1, where.tracks + 1):
        sector, offset, size = where.entry(track)
        entry = at(*sector)[offset : offset + 1 + size]
        says = {s for s in range(8 * size) if number(entry, 1, size) >> s & 1}
        must(says == {s for s in range(where.count(track)) if (track, s) not in used}, f"map of track {track}")
        must(entry[0] == len(says), f"free count of track {track}")
        free += entry[0] if track != where.directory else 0
    return Held(label.rstrip(b"\xa0"), files, free, DATA)
