"""The block volume by facts.md section 7c: directory from block 2, map in block 6, index blocks, directories in directories."""

from model_volumes import File, Held, Room, little, must, noise, number

GEOMETRY, BLOCKS, BLANK = "gcr6and2-35x16x256", 280, 273
PAIRS = ((0x0, 0xE), (0xD, 0xC), (0xB, 0xA), (0x9, 0x8), (0x7, 0x6), (0x5, 0x4), (0x3, 0x2), (0x1, 0xF))  # CV112, places in the dump
IDENTIFIERS = (0, 13, 11, 9, 7, 5, 3, 1, 14, 12, 10, 8, 6, 4, 2, 15)  # by place; contract.md section 2
STAMP = bytes((0x3F, 0xA8, 0x2D, 0x0D))  # CV118: 31 January 1984, 13:45
ENTRY, PER_BLOCK = 39, 13


def halves(block):
    """The two places in the dump of a block."""
    return [16 * (block // 8) + sector for sector in PAIRS[block % 8]]


class Directory:
    """A directory under construction. `slot`: the block and number of its entry in its parent."""

    def __init__(self, path, blocks, parent=None, slot=(0, 0)):
        self.path, self.blocks, self.parent, self.slot = path, blocks, parent, slot
        self.entries = []
        self.subs = []


class Disc:
    """A disc under construction, its blocks by number."""

    def __init__(self, rng, label=b"NIGHT.POST"):
        self.rng, self.label = rng, label
        self.data = [bytearray(noise(rng, 512)) for _ in range(BLOCKS)]
        self.room = Room(range(7, BLOCKS), rng)
        self.root = Directory(b"", [2, 3, 4, 5])
        self.files, self.chains, self.keys, self.sectors = {}, {}, {}, {}

    def put(self, file, directory=None, holes=(), deep=None):
        """A file anywhere. `holes`: blocks of it that are not there; `deep`: a storage type higher than it needs."""
        count = max(1, -(-len(file.data) // 512))
        kind = deep or (1 if count == 1 else 2 if count <= 256 else 3)
        where = {}
        for k in range(count):
            piece = file.data[512 * k : 512 * k + 512]
            if k in holes:
                assert not any(piece)
                continue
            [where[k]] = self.room.take()
            self.data[where[k]][: len(piece)] = piece
        key, extra = self.index(where, count, kind)
        self.chains[file.name], self.keys[file.name] = list(where.values()), key
        halves_of = [(512 * k + 256 * half, at) for k, block in where.items() for half, at in enumerate(places(block))]
        self.sectors[file.name] = [at for start, at in halves_of if start < len(file.data)]
        self.enter(directory or self.root, file, kind, key, len(where) + extra)
        return key

    def index(self, where, count, kind):
        """Index blocks as the storage type wants them; the key block and how many blocks they take."""
        if kind == 1:
            return where[0], 0
        parts = range(-(-count // 256)) if kind == 3 else [0]
        indexes = {}
        for part in parts:
            mine = {k - 256 * part: block for k, block in where.items() if k // 256 == part}
            if mine or kind == 2:
                [indexes[part]] = self.room.take()
                self.write_index(indexes[part], mine)
        if kind == 2:
            return indexes[0], 1
        [master] = self.room.take()
        self.write_index(master, indexes)
        return master, 1 + len(indexes)

    def write_index(self, block, pointers):
        low = bytes(pointers.get(k, 0) % 256 for k in range(256))
        self.data[block][:] = low + bytes(pointers.get(k, 0) // 256 for k in range(256))

    def enter(self, directory, file, kind, key, blocks):
        name = file.name.rsplit(b"/", 1)[-1]
        access = 0x21 if file.locked else 0xE3
        entry = bytes([kind << 4 | len(name)]) + name.ljust(15, b"\0") + bytes([file.type]) + little(key) + little(blocks)
        entry += little(len(file.data), 3) + STAMP + bytes([0, 0, access]) + little(file.load) + STAMP + little(directory.blocks[0])
        directory.entries.append(entry)
        if kind != 0xD:
            self.files[id(directory), len(directory.entries)] = file

    def directory(self, name, count=1, parent=None):
        """A directory of so many blocks, anywhere."""
        parent = parent or self.root
        path = (parent.path + b"/" if parent.path else b"") + name
        blocks = self.room.take(count)
        self.enter(parent, File(path, bytes(512 * count), 0x0F, 0), 0xD, blocks[0], count)
        where = len(parent.entries)
        made = Directory(path, blocks, parent, (parent.blocks[where // PER_BLOCK], where % PER_BLOCK + 1))
        parent.subs.append((where, made))
        return made

    def delete(self, directory=None):
        """What is left of a deleted file: an entry of storage type 0 that keeps the rest."""
        stale = bytes([0]) + b"GONE".ljust(15, b"\0") + bytes([6]) + little(self.rng.choice(self.room.free)) + bytes(20)
        (directory or self.root).entries.append(stale)

    def write_directory(self, made):
        live = sum(entry[0] > 0 for entry in made.entries)
        name = made.path.rsplit(b"/", 1)[-1] if made.parent else self.label
        head = bytes([(0xE0 if made.parent else 0xF0) | len(name)]) + name.ljust(15, b"\0")
        head += (b"\x75" if made.parent else b"\0") + bytes(7) + STAMP + bytes([0, 0, 0xC3, ENTRY, PER_BLOCK]) + little(live)
        head += little(made.slot[0]) + bytes([made.slot[1], ENTRY]) if made.parent else little(6) + little(BLOCKS)
        rows = [head, *made.entries]
        for k, block in enumerate(made.blocks):
            before = made.blocks[k - 1] if k else 0
            after = made.blocks[k + 1] if k + 1 < len(made.blocks) else 0
            mine = b"".join(rows[PER_BLOCK * k : PER_BLOCK * (k + 1)])
            self.data[block][:] = (little(before) + little(after) + mine).ljust(512, b"\0")
        for _, sub in made.subs:
            self.write_directory(sub)

    def dump(self):
        """The disc's bytes, map and directories written."""
        self.write_directory(self.root)
        bits = bytearray(512)
        for block in self.room.free:
            bits[block // 8] |= 0x80 >> block % 8
        self.data[6][:] = bits
        out = bytearray(BLOCKS * 512)
        for block, data in enumerate(self.data):
            for place, half in zip(halves(block), (data[:256], data[256:]), strict=True):
                out[256 * place : 256 * place + 256] = half
        return bytes(out)

    def listed(self, made):
        """The files of a directory in the order of its entries, those of its directories in a reader's order: level by level."""
        return [self.files[id(made), k] for k in range(1, len(made.entries) + 1) if (id(made), k) in self.files]

    def expected(self):
        """What a reader has to find, directory after directory."""
        files, waiting = [], [self.root]
        for made in waiting:
            files += self.listed(made)
            waiting += [sub for _, sub in made.subs]
        return Held(self.label, files, len(self.room.free), 512, [self.sectors[file.name] for file in files])


def places(block):
    """The addresses of a block's two sectors, as the program tells them: by their identifiers."""
    return [(place // 16, 0, IDENTIFIERS[place % 16]) for place in halves(block)]


def held(dump):
    """Reads a disc from block 2, and holds its map against what its files use."""
    block = lambda n: b"".join(dump[256 * place : 256 * place + 256] for place in halves(n))
    used, files, waiting = {0, 1, 6}, [], [(2, b"", 0)]

    def use(number_):
        must(0 < number_ < BLOCKS and number_ not in used, f"block {number_}")
        used.add(number_)
        return block(number_)

    def pointers(number_, count):
        data = use(number_)
        found = [data[k] + 256 * data[256 + k] for k in range(256)]
        must(not any(found[count:]), f"index {number_} points behind the end")
        return found[:count]

    label = b""
    for key, path, parent in waiting:
        rows, at, before = [], key, 0
        while at:
            data = use(at)
            must(number(data, 0) == before, f"link back of block {at}")
            rows += [(at, k + 1, data[4 + ENTRY * k :][:ENTRY]) for k in range(PER_BLOCK)]
            before, at = at, number(data, 2)
        _, _, head = rows[0]
        name = head[1 : 1 + head[0] % 16]
        must(head[0] >> 4 == (0xE if path else 0xF), "header")
        must(number(head, 0x21) == sum(row[0] > 15 for *_, row in rows[1:]), f"file count of {path}")
        if path:
            must(path.rsplit(b"/", 1)[-1] == name, f"name of {path}")
            must((number(head, 0x23), head[0x25], head[0x26]) == (*parent, ENTRY), f"parent of {path}")
        else:
            label = name
            must((number(head, 0x23), number(head, 0x25)) == (6, BLOCKS), "map and blocks")
        for here, place, row in rows[1:]:
            if row[0] < 16:
                continue
            full = (path + b"/" if path else b"") + row[1 : 1 + row[0] % 16]
            must(number(row, 0x25) == key, f"header of {full}")
            if row[0] >> 4 == 0xD:
                waiting.append((number(row, 0x11), full, (here, place)))
                continue
            files.append(one(full, row, use, pointers, used))
    data = block(6)
    must(not any(data[BLOCKS // 8 :]), "map of blocks that are not there")
    for n in range(BLOCKS):
        must((data[n // 8] >> (7 - n % 8) & 1) == (n not in used), f"map of block {n}")
    return Held(label, files, BLOCKS - len(used), 512)


def one(path, row, use, pointers, used):
    """The file of one entry."""
    length, kind, before = number(row, 0x15, 3), row[0] >> 4, len(used)
    count = max(1, -(-length // 512))
    must(count <= {1: 1, 2: 256, 3: 32768}[kind], f"length of {path}")
    if kind == 1:
        blocks = [number(row, 0x11)]
    elif kind == 2:
        blocks = pointers(number(row, 0x11), count)
    else:
        blocks = []
        for k, each in enumerate(pointers(number(row, 0x11), -(-count // 256))):
            left = min(256, count - 256 * k)
            blocks += pointers(each, left) if each else [0] * left
    data = b"".join(use(each) if each else bytes(512) for each in blocks)
    must(number(row, 0x13) == len(used) - before, f"blocks used of {path}")
    return File(path, data[:length], row[0x10], number(row, 0x1F), not row[0x1E] & 0x02)
