"""Faults put into tracks on purpose: each function hits something that it knows, so that a test can say what must be found.

Two levels: `Sector`s (what is recorded: sound fields that say something else) and pieces (what became of the cells). A scenario draws
from both, and from every legal way to deliver a track: one turn, several, cut anywhere, read again, with index marks or without.
"""

import random
from dataclasses import replace

from model_capture import Stretch, backwards, capture_file
from model_encode import cells_of, damage_clocks, plan, random_style, track_pieces

# --- cells --------------------------------------------------------------------------------------------------------------------


def turned(cell):
    """The other cell."""
    return "0" if cell == "1" else "1"


def only(field, sector, part=None):
    """Which pieces: of this field, sector and (unless None) part."""
    return lambda piece: piece.field == field and piece.sector == sector and (part is None or piece.part == part)


def flip(pieces, rng, want, count=1):
    """So many single cells turned over in pieces that `want` accepts; of an MFM byte a data cell, since clocks are not judged."""
    out = list(pieces)
    for _ in range(count):
        k = rng.choice([k for k, piece in enumerate(out) if piece.cells and want(piece)])
        cells = out[k].cells
        at = rng.randrange(len(cells))
        out[k] = replace(out[k], cells=cells[:at] + turned(cells[at]) + cells[at + 1 :])
    return out


def flip_data(pieces, rng, want):
    """One data cell (the second of a pair) of an MFM piece turned over."""
    out = list(pieces)
    k = rng.choice([k for k, piece in enumerate(out) if want(piece)])
    cells = out[k].cells
    at = 2 * rng.randrange(len(cells) // 2) + 1
    out[k] = replace(out[k], cells=cells[:at] + turned(cells[at]) + cells[at + 1 :])
    return out


def silence(pieces, want):
    """Every piece that `want` accepts without a transition."""
    return [replace(piece, cells="0" * len(piece.cells)) if want(piece) else piece for piece in pieces]


def dropout(cells, rng, longest):
    """A stretch of the track without a transition, anywhere."""
    at, size = rng.randrange(len(cells)), rng.randint(1, longest)
    return (cells[:at] + "0" * len(cells[at : at + size]) + cells[at + size :])[: len(cells)]


def kill_mark(geo, pieces, field, sector):
    """The mark of one field, so that nobody meets the field. In 4-to-5 the mark is the sync before it."""
    if geo.code != "4to5":
        return silence(pieces, only(field, sector, "mark"))
    syncs = [k for k, piece in enumerate(pieces) if piece.part == "sync" and piece.sector == sector]
    hit = syncs[0 if field == "identifier" else 1]
    return [replace(piece, cells=("01" * len(piece.cells))[: len(piece.cells)]) if k == hit else piece for k, piece in enumerate(pieces)]


# --- what is recorded ---------------------------------------------------------------------------------------------------------


def rewrite(sectors, number, **change):
    """The sector of this number recorded with something else, soundly."""
    return [replace(one, owner=one.sector, **change) if one.sector == number else one for one in sectors]


def other_identity(geo, identity, rng):
    """Another disc id or volume number, or the length code of other sectors."""
    if geo.marked:
        return {"length": rng.choice([code for code in (0, 1, 2, 3, 200) if code != geo.length])}
    key = rng.choice(sorted(identity))
    return {**identity, key: (identity[key] + rng.randint(1, 255)) % 256}


def other_bytes(body, rng):
    """The same length, one to all bytes others."""
    how = rng.randrange(3)
    if how == 0:
        at = rng.randrange(len(body))
        return body[:at] + bytes([body[at] ^ rng.randint(1, 255)]) + body[at + 1 :]
    return bytes([rng.randrange(256)]) * len(body) if how == 1 else rng.randbytes(len(body))


def recorded_faults(geo, sectors, identity, rng):
    """Zero to three sectors recorded otherwise than the master wants, soundly."""
    for _ in range(rng.choice((0, 1, 1, 2, 3))):
        one = rng.choice(sectors)
        other = rng.choice(sectors)
        kind = rng.randrange(10)
        if kind == 0:
            sectors = rewrite(sectors, one.sector, body=other_bytes(one.body, rng))
        elif kind == 1:
            sectors = rewrite(sectors, one.sector, identity=other_identity(geo, identity, rng))
        elif kind == 2:
            sectors = rewrite(sectors, one.sector, track=(one.track + rng.randint(1, 40)) % 80)
        elif kind == 3:
            sectors = rewrite(sectors, one.sector, sector=rng.randrange(40))
        elif kind == 4 and geo.marked:
            sectors = rewrite(sectors, one.sector, head=rng.choice((1 - (one.head & 1), 7)))
        elif kind == 5 and geo.marked:
            sectors = rewrite(sectors, one.sector, deleted=True)
        elif kind == 6:
            sectors = [one if k.sector == other.sector else k for k in sectors]  # one in the other's place too
        elif kind == 7:
            sectors = rewrite(sectors, one.sector, bare=True)
        elif kind == 8:
            a, b = one.body, other.body
            sectors = [replace(k, body=b if k is one else a if k is other else k.body) for k in sectors]
        elif kind == 9 and geo.marked:
            sectors = rewrite(
                sectors, one.sector, identity=other_identity(geo, identity, rng), body=other_bytes(one.body, rng), deleted=True
            )
    return sectors


# --- what became of the cells -------------------------------------------------------------------------------------------------


def cell_faults(geo, pieces, rng, count):
    """So many faults of the medium or of one pass, in pieces."""
    fields = sorted({(piece.field, piece.sector) for piece in pieces if piece.field != "gap"})
    for _ in range(count):
        kind, number = rng.choice(fields)
        parts = sorted({piece.part for piece in pieces if piece.field == kind and piece.sector == number})
        how = rng.randrange(6)
        if how == 0:
            pieces = flip(pieces, rng, only(kind, number, rng.choice(parts)))
        elif how == 1:
            pieces = flip(pieces, rng, only(kind, number), rng.randint(1, 4))
        elif how == 2:
            pieces = kill_mark(geo, pieces, kind, number)
        elif how == 3:
            pieces = silence(pieces, only(kind, number, rng.choice(parts)))
        elif how == 4:
            pieces = flip(pieces, rng, only("identifier", number, rng.choice(("sector", "track", "check"))), 1)
        elif how == 5:
            pieces = flip(pieces, rng, lambda piece: piece.field == "gap")
    return pieces


def deliver(geo, cylinder, head, base, rng):
    """A track as one reading delivers it: a `Stretch`."""
    cell_ps = geo.cell_ps(cylinder)
    if rng.random() < 0.1:  # the reader's clock was set for another density, or a little off
        cell_ps = int(cell_ps * rng.choice((0.5, 0.9, 0.98, 1.02, 1.1, 2)))
    turn = len(cells_of(base))
    kind = rng.randrange(10)
    if kind == 0:
        return Stretch(cylinder, head, "", cell_ps, rng.random() < 0.5)
    if kind < 4:
        cells = cells_of(cell_faults(geo, base, rng, rng.choice((0, 0, 1))))
        at = rng.randrange(turn)
        return Stretch(cylinder, head, cells[at:] + cells[:at], cell_ps, True)
    turns = [cells_of(cell_faults(geo, base, rng, rng.choice((0, 0, 1, 2)))) for _ in range(rng.randint(1, 5))]
    cells = "".join(turns)
    start = rng.randrange(turn)
    end = len(cells) - rng.randrange(turn)
    marks = [k * turn - start for k in range(len(turns) + 1) if start <= k * turn <= end] if rng.random() < 0.5 else None
    if end <= start:
        start, end, marks = 0, len(cells), None
    cells = cells[start:end]
    if marks and rng.random() < 0.2:  # the index hole was missed once
        del marks[rng.randrange(len(marks))]
    if rng.random() < 0.2:
        cells = dropout(cells, rng, turn // 2)
    return Stretch(cylinder, head, cells, cell_ps, False, marks)


def faulty_track(geo, dump, identity, cylinder, head, rng):
    """One track with faults, read once or more: a list of stretches."""
    sectors = recorded_faults(geo, plan(geo, dump, identity, cylinder, head), identity, rng)
    style = random_style(geo, cylinder, rng)
    if rng.random() < 0.1:  # the writer's drive turned too slowly
        style = replace(style, turn=int(geo.track_cells(cylinder) * rng.choice((1.02, 1.04, 1.3, 1.7))))
    base = track_pieces(geo, [sectors[k] for k in style.order], style)
    if geo.marked and rng.random() < 0.3:
        base = damage_clocks(base, rng, 40)
    base = cell_faults(geo, base, rng, rng.choice((0, 0, 0, 1, 1, 2, 3)))
    return [deliver(geo, cylinder, head, base, rng) for _ in range(rng.choice((1, 1, 1, 2, 3)))]


def scenario(geo, dump, identity, plain, seed, tracks=6):
    """A capture with a few faulty tracks among plain ones. `plain`: {(cylinder, head): Stretch} of a good disc. The same seed, the same bytes."""
    rng = random.Random(seed)
    places = sorted(plain)
    out = dict.fromkeys(places)
    for place in places:
        out[place] = [plain[place]]
    for place in rng.sample(places, min(tracks, len(places))):
        out[place] = faulty_track(geo, dump, identity, *place, rng)
    if rng.random() < 0.1:
        del out[rng.choice(places)]
    if rng.random() < 0.05:
        keep = rng.randrange(1, geo.cylinders)
        out = {place: found for place, found in out.items() if place[0] < keep}
    stretches = [one for place in sorted(out) for one in out[place]]
    if rng.random() < 0.2:
        rng.shuffle(stretches)
    return present(geo, stretches, rng)


def present(geo, stretches, rng):
    """The same reading as other drives deliver it: backwards, in half steps, at another speed, with more of the disc than the geometry has."""
    head = {"simulated": True} if rng.random() < 0.2 else {}
    if rng.random() < 0.15:
        stretches, head["reversed"] = backwards(stretches), True
    if rng.random() < 0.1 and geo.cylinders <= 48:  # of two steps to a track the odd ones read what lies beside it
        halves = [replace(one, cylinder=2 * one.cylinder) for one in stretches]
        stretches, head["tpi"] = halves + [replace(one, cylinder=one.cylinder + 1) for one in halves if rng.random() < 0.2], 2 * geo.tpi
    elif rng.random() < 0.2:
        other = rng.choice(stretches)
        stretches = [*stretches, replace(other, cylinder=geo.cylinders + rng.randrange(5))]
        if geo.heads == 1:
            stretches.append(replace(other, head=1))
    if rng.random() < 0.1:
        head["rpm"] = 360 if geo.rpm == 300 else 300
        stretches = [replace(one, cell_ps=one.cell_ps * geo.rpm // head["rpm"]) for one in stretches]
    return capture_file(stretches, **{"rpm": geo.rpm, **head})
