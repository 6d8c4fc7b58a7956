"""The sectors that a customer's machine may change by right: those of the files that the job calls volatile."""

from collections.abc import Mapping

from formats.model.geometry import Address
from mastering.master.master import Side


def volatile_sectors(side: Side) -> Mapping[Address, str]:
    """The sectors of a side's volatile files, each with its file's name, as the master's record has them."""
    files = (file for file in side.files if file.get("volatile"))
    return {Address(track, head, sector): file["name"] for file in files for track, head, sector in file.get("sectors", ())}
