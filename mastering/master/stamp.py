"""What a drive is given to write for one disc: a side of its master with the serial in its slot, as a dump or as a capture."""

from mastering.master.master import Side


def image(side: Side, serial: str, as_capture: bool) -> bytes:
    """A side for a disc with this serial; every check on its tracks is made anew. ValueError when the serial is too long for the slot."""
    dump = side.stamped(serial)
    if not as_capture:
        return dump
    from formats.containers import capture
    from formats.tracks.encode import encode_side

    return capture.write_master(side.geometry, encode_side(side.geometry, dump, side.identity))
