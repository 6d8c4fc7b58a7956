"""A shop as it is begun: its settings, its bench, an empty ledger."""

import os
from pathlib import Path

from mastering.errors import MasteringError
from mastering.files import write_file
from mastering.ledger.store import Ledger
from mastering.shop import NAME, Shop, find

BENCH = "bench.toml"
_SHOP = """\
# This shop: what its verdicts may depend on, and where things lie. A batch keeps what stood here when it was opened.

{ledger}
# masters = "masters"              # the folder of its masters
# verify = "after-turning-over"    # write A, turn over, write B, read B, turn over, read A; or "each-side": no last look at A
# rewrites = 1                     # how often a side may be written again
# accept = ["dump", "report", "cells", "flux"]     # the evidence that a verdict may rest on; also "sums"
# margin = 0.01                    # flux reads with a greater chance of losing a sector are marginal
{practice}
# What advice goes by:
# tolerable = 0.03                 # the share of bad discs that is usual
# bad = 0.15                       # the share at which a lot or drive is to be stopped
# false_stop = 0.02
# false_alarm_discs = 2000
"""
_BENCH = """\
# What is on this table. Commands are lists of words and run without a shell.

# [bench]
# hold_after = 3                   # discs running whose first read of a side failed: then the drive is on hold
# hold_share = 0.25                # share of a side's tracks with bad sectors in one read without a diagnosis
# label_when = "before-last-look"  # or "on-pass", "after"

# [drive.D1]                       # the name that `obverse drive add` gave it
# write = ["program", "--in", "{dump}", "--face", "{side}"]
# read = ["program", "--out", "{output}"]
# output = ".capture"              # what `read` writes: ".dump" or ".capture"
# seconds = 120                    # time limit of a command
# turns = 1                        # turns that a read takes of each track

# [drive.R1]
# by_hand = "from-r1"              # no commands: files are put into and taken from this folder
"""


def begin_shop(folder: Path, ledger: str | None = None, practice: bool = False) -> Shop:
    """Makes a shop in a folder, which may be there already. MasteringError when it holds a shop or a ledger, or can't be written."""
    for name in (NAME, BENCH):
        if os.path.lexists(folder / name):
            raise MasteringError(f"{folder / name}: exists already; a shop is begun once")
    settings = Shop(folder, {} if ledger is None else {"ledger": ledger})
    path = settings.ledger_by_settings
    if os.path.lexists(path):
        raise MasteringError(
            f"{path}: exists already; name another ledger with --ledger, or write shop.toml by hand to go on with this one"
        )
    if not folder.absolute().parent.is_dir():
        raise MasteringError(f"{folder}: can't be made: the folder that it is to lie in is not there")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise MasteringError(f"{folder}: can't be made: {error.strerror}") from error
    with Ledger.open(path, create=True):
        pass
    named = '# ledger = "ledger.sqlite"' if ledger is None else f'ledger = "{_quoted(ledger)}"'
    counts = "practice = true                    # simulated reads count here\n" if practice else ""
    write_file(folder / BENCH, _BENCH.encode())
    write_file(folder / NAME, _SHOP.format(ledger=named, practice=counts).encode())
    return find(folder.absolute())


def _quoted(text: str) -> str:
    """A text inside a TOML basic string."""
    return "".join(f"\\u{ord(character):04X}" if not character.isprintable() or character in '"\\' else character for character in text)
