"""Masters as earlier versions of the program wrote them."""

import json
from pathlib import Path

from formats.containers import capture
from formats.tracks.encode import encode_side
from mastering.files import digest
from mastering.master.builder import unproven
from mastering.master.filler import free_text, is_free
from mastering.master.master import Master, open_master, write_master


def as_version_1(master: Master, target: Path) -> Master:
    """The same job's master of version 1: its free sectors name title and revision, its record has `serial`, and `serials` where there are two."""
    record = json.loads((master.path / "data" / "master.json").read_bytes())
    payload = {}
    for name, side in master.sides.items():
        geometry, dump = side.geometry, bytearray(side.dump)
        slot = slice(side.slot_start or 0, (side.slot_start or 0) + (side.slot.bytes if side.slot else 0))
        marker = dump[slot]
        for place, address in enumerate(geometry.addresses):
            if is_free(side, master.free_title, address):
                dump[place * geometry.size : (place + 1) * geometry.size] = free_text(master.label, name, geometry, address)
        dump[slot] = marker
        of_side = record["sides"][name]
        of_side |= {"sha256": digest(bytes(dump)), "unproven_sectors": unproven(bytes(dump), geometry.size)}
        of_side["unproven"] = len(of_side["unproven_sectors"])
        payload[f"side-{name}.dump"] = bytes(dump)
        payload[f"side-{name}.capture"] = capture.write_master(geometry, encode_side(geometry, bytes(dump), side.identity))
    record["version"] = 1
    for key in ("edition", "disc", "discs"):
        del record["title"][key]
    slots = [{"side": name} | place for name, place in record.pop("serials").items()]
    record |= {"serial": slots[0] if slots else None} | ({"serials": slots} if len(slots) > 1 else {})
    write_master(target, payload, record)
    return open_master(target)
