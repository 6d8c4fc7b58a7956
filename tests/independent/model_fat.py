"""FAT12 by facts.md section 7d and its published layout: parameter block, two tables, root, clusters."""

from model_volumes import File, Held, Room, carrying, little, must, noise, number

# sectors of a cluster, root entries, sectors, media, sectors of a table, sectors of a track, heads, clusters
MEDIA = {
    "mfm-40x8x512": (1, 64, 320, 0xFE, 1, 8, 1, 313),
    "mfm-40x9x512": (1, 64, 360, 0xFC, 2, 9, 1, 351),
    "mfm-40x8x512-2s": (2, 112, 640, 0xFF, 1, 8, 2, 315),
    "mfm-40x9x512-2s": (2, 112, 720, 0xFD, 2, 9, 2, 354),
    "mfm-80x9x512-2s": (2, 112, 1440, 0xF9, 3, 9, 2, 713),
    "mfm-80x15x512-2s": (1, 224, 2400, 0xF9, 7, 15, 2, 2371),
}
DATE = little((1984 - 1980) << 9 | 1 << 5 | 31)
LOCKED, HIDDEN, SYSTEM, LABEL, FOLDER, ARCHIVE = 1, 2, 4, 8, 16, 32
DOTS = (b".", b"..")


def short(name):
    """A name as the eleven bytes of an entry."""
    if name in DOTS:
        return name.ljust(11)
    stem, _, kind = name.partition(b".")
    made = stem.ljust(8) + kind.ljust(3)
    return b"\x05" + made[1:] if made[0] == 0xE5 else made


class Disc:
    """A disc under construction: clusters by number, directories by path."""

    def __init__(self, geometry, rng, label=b"NIGHT POST", parameters=True):
        self.spc, self.entries, self.total, self.media, self.spf, self.spt, self.heads, self.clusters = MEDIA[geometry]
        self.rng, self.label, self.parameters, self.unit = rng, label, parameters, 512 * self.spc
        self.table = {}
        self.data = {n: bytearray(noise(rng, self.unit)) for n in range(2, self.clusters + 2)}
        self.room = Room(self.data, rng)
        self.folders = {b"": []}
        self.keys, self.files, self.chains = {b"": 0}, {b"": []}, {}
        if label:
            self.folders[b""].append(self.entry(label.ljust(11), LABEL, 0, 0))

    def entry(self, name, attribute, cluster, size):
        return name + bytes([attribute]) + bytes(10) + little(0x6DA0) + DATE + little(cluster) + little(size, 4)

    def chain(self, data, end=0xFFF, where=None):
        """Lays bytes into clusters anywhere; those clusters."""
        where = where or self.room.take(-(-len(data) // self.unit))
        for k, n in enumerate(where):
            piece = data[self.unit * k : self.unit * (k + 1)]
            self.data[n][: len(piece)] = piece
            self.table[n] = where[k + 1] if k + 1 < len(where) else end
        return where

    def put(self, file, attribute=ARCHIVE, end=0xFFF):
        """A file anywhere, its entry behind the others of its directory."""
        where = self.chains[file.name] = self.chain(file.data, end)
        folder, _, name = file.name.rpartition(b"/")
        attribute |= LOCKED if file.locked else 0
        self.folders[folder].append(self.entry(short(name), attribute, where[0] if where else 0, len(file.data)))
        self.files[folder].append(file)

    def folder(self, path, clusters=1):
        """A directory of so many clusters, anywhere."""
        parent, _, name = path.rpartition(b"/")
        where = self.room.take(clusters)
        self.keys[path], self.chains[path] = where[0], where
        self.folders[parent].append(self.entry(short(name), FOLDER, where[0], 0))
        dots = [self.entry(short(b"."), FOLDER, where[0], 0), self.entry(short(b".."), FOLDER, self.keys[parent], 0)]
        self.folders[path], self.files[path] = dots, []

    def delete(self, folder=b""):
        """What is left of a deleted file: E5 in place of its first character."""
        self.folders[folder].append(self.entry(b"\xe5ONE    DAT", ARCHIVE, self.rng.choice(self.room.free), 700))

    def bad(self):
        """A cluster that a formatter marked as bad."""
        [n] = self.room.take()
        self.table[n] = 0xFF7
        return n

    def first(self):
        """The sector of the first cluster."""
        return 1 + 2 * self.spf + self.entries // 16

    def fat(self):
        """The bytes of one table: an even entry is the low twelve bits of its word, an odd one the high."""
        out = bytearray(512 * self.spf + 1)
        for n, value in {0: 0xF00 | self.media, 1: 0xFFF, **self.table}.items():
            at = 3 * n // 2
            word = number(out, at) | (value << 4 if n % 2 else value)
            out[at : at + 2] = little(word)
        return bytes(out[:-1])

    def boot(self):
        out = bytearray(512)
        if self.parameters:
            out[:3], out[3:11] = b"\xeb\x3c\x90", b"SALTMRSH"
            out[11:24] = (
                little(512)
                + bytes([self.spc])
                + little(1)
                + b"\x02"
                + little(self.entries)
                + little(self.total)
                + bytes([self.media])
                + little(self.spf)
            )
            out[24:28] = little(self.spt) + little(self.heads)
            out[38], out[39:43], out[43:54], out[54:62] = 0x29, b"\x0d\xf0\xad\x0b", (self.label or b"NO NAME").ljust(11), b"FAT12   "
        out[510:] = b"\x55\xaa"
        return bytes(out)

    def dump(self):
        """The disc's bytes."""
        for path, rows in self.folders.items():
            if path:
                where = self.chains[path]
                assert len(rows) * 32 <= self.unit * len(where)
                self.chain(b"".join(rows).ljust(self.unit * len(where), b"\0"), where=where)
        assert len(self.folders[b""]) <= self.entries
        root = b"".join(self.folders[b""]).ljust(32 * self.entries, b"\0")
        body = self.boot() + 2 * self.fat() + root + b"".join(bytes(self.data[n]) for n in sorted(self.data))
        return body.ljust(512 * self.total, b"\xf6")

    def place(self, cluster):
        """The addresses of a cluster's sectors."""
        at = self.first() + (cluster - 2) * self.spc
        return [(lba // self.spt // self.heads, lba // self.spt % self.heads, lba % self.spt + 1) for lba in range(at, at + self.spc)]

    def expected(self):
        """What a reader has to find; the order of files of different directories is not told by any text."""
        files = [file for each in self.files.values() for file in each]
        sectors = [carrying([at for n in self.chains[file.name] for at in self.place(n)], file.data, 512) for file in files]
        return Held(self.label, files, len(self.room.free), self.unit, sectors)


def held(geometry, dump):
    """Reads a disc from its parameter block, and holds its table against what its files use."""
    spc, entries, total, media, spf, spt, heads, clusters = MEDIA[geometry]
    bare = (512, spc, 1, 2, entries, total, media)  # the oldest system wrote no parameters: the medium is told by the first table alone
    told = (
        bare
        if not any(dump[:510]) and dump[512] == media
        else (number(dump, 11), dump[13], number(dump, 14), dump[16], number(dump, 17), number(dump, 19), dump[21])
    )
    must(told == bare, "parameter block")
    must(not any(dump[:510]) or (number(dump, 22), number(dump, 24), number(dump, 26)) == (spf, spt, heads), "parameter block")
    table, copy = dump[512 : 512 * (1 + spf)], dump[512 * (1 + spf) : 512 * (1 + 2 * spf)]
    must(table == copy and table[:3] == bytes([media, 0xFF, 0xFF]), "tables")
    root, start, unit = 512 * (1 + 2 * spf), 512 * (1 + 2 * spf) + 32 * entries, 512 * spc
    links = [number(table + b"\0", 3 * n // 2) >> (4 * (n % 2)) & 0xFFF for n in range(clusters + 2)]
    used, label, files = set(), b"", []

    def follow(cluster):
        out = b""
        while cluster < 0xFF8:
            must(1 < cluster < clusters + 2 and cluster not in used, f"cluster {cluster}")
            used.add(cluster)
            out += dump[start + unit * (cluster - 2) :][:unit]
            cluster = links[cluster]
        return out

    waiting = [(b"", 0, 0, dump[root:start])]
    for path, key, parent, rows in waiting:
        for at in range(0, len(rows), 32):
            row = rows[at : at + 32]
            if row[0] == 0:
                break
            if row[0] == 0xE5:
                continue
            if path and at < 64:
                must(row[:12] == short(DOTS[at // 32]) + bytes([FOLDER]) and number(row, 26) == (key, parent)[at // 32], f"dots of {path}")
                continue
            stem, kind, attribute, size = row[:8].rstrip(), row[8:11].rstrip(), row[11], number(row, 28, 4)
            if attribute & LABEL:
                label = row[:11].rstrip()
                continue
            stem = b"\xe5" + stem[1:] if stem[0] == 5 else stem
            name = (path + b"/" if path else b"") + stem + (b"." + kind if kind else b"")
            first = number(row, 26)
            data = follow(first) if first else b""
            if attribute & FOLDER:
                must(size == 0, f"size of {name}")
                waiting.append((name, first, key, data))
                continue
            must(-(-size // unit) * unit == len(data), f"size of {name}")
            files.append(File(name, data[:size], None, None, bool(attribute & LOCKED)))
    must({n for n in range(2, clusters + 2) if links[n] not in (0, 0xFF7)} == used, "lost clusters")
    return Held(label, files, links[2:].count(0), unit)
