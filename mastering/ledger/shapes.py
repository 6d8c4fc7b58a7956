"""What each kind of line of the ledger must hold: its keys and the types of their values. A line may hold more than is named here."""

from collections.abc import Mapping

Types = tuple[type, ...]

NONE = type(None)
_TEXT: Types = (str,)
_MAYBE: Types = (str, NONE)
_COUNT: Types = (int,)
_MAYBE_COUNT: Types = (int, NONE)
_FLAG: Types = (bool,)
_LIST: Types = (list,)

SHAPES: Mapping[str, Mapping[str, Types]] = {
    # what the bench has, and what is made on it
    "lot": {"name": _TEXT, "count": _MAYBE_COUNT},
    "drive": {"name": _TEXT, "tpi": _COUNT, "heads": _COUNT, "simulated": _FLAG},
    "batch": {
        "batch": _TEXT, "master": _TEXT, "catalogue": _TEXT, "digest": _TEXT, "sides": (dict,), "good": _COUNT, "lots": _LIST,
        "drives": _LIST, "operator": _MAYBE, "at": _TEXT,
    },
    "change": {"of": _TEXT, "name": _TEXT, "reason": _TEXT, "at": _TEXT},
    "close": {"batch": _TEXT, "at": _TEXT},
    # a disc on the bench
    "serial": {"batch": _TEXT, "serial": _TEXT, "at": _TEXT},
    "image": {"batch": _TEXT, "serial": _TEXT, "side": _TEXT, "sha256": _TEXT, "at": _TEXT},
    "writing": {"batch": _TEXT, "serial": _TEXT, "side": _TEXT, "writing": _COUNT, "drive": _MAYBE, "at": _TEXT},
    "read": {
        "batch": _TEXT, "serial": _TEXT, "on_disc": _MAYBE, "readback": _TEXT, "side": _MAYBE, "evidence": _TEXT, "verdict": _TEXT,
        "diagnosis": _MAYBE, "action": _TEXT, "sectors": (dict, NONE), "unproven": _COUNT, "simulated": _FLAG, "findings": _LIST,
        "read": _COUNT, "writing": _MAYBE_COUNT, "lot": _TEXT, "wrote": _MAYBE, "read_by": _MAYBE, "at": _TEXT,
    },
    "reject": {"batch": _TEXT, "serial": _TEXT, "lot": _MAYBE, "reason": _TEXT, "at": _TEXT},
    "amend": {
        "batch": _TEXT, "serial": _MAYBE, "lot": _MAYBE, "wrote": _MAYBE, "read": _MAYBE_COUNT, "void": _FLAG, "reason": _TEXT, "at": _TEXT,
    },
    "drop": {"batch": _TEXT, "serial": _TEXT, "reason": _TEXT, "at": _TEXT},
    "take": {"batch": _TEXT, "serial": _TEXT, "from": _TEXT, "sides": _LIST, "at": _TEXT},
    # drives, lots and masters in use
    "hold": {"drive": _TEXT, "serial": _TEXT, "side": _TEXT, "why": _TEXT, "at": _TEXT},
    "drive-check": {"drive": _TEXT, "ok": _FLAG, "digest": _MAYBE, "at": _TEXT},
    "drive-log": {"drive": _TEXT, "what": _TEXT, "note": _MAYBE, "at": _TEXT},
    "lot-stop": {"lot": _TEXT, "inner": _MAYBE_COUNT, "reason": _TEXT, "at": _TEXT},
    "lot-release": {"lot": _TEXT, "inner": _MAYBE_COUNT, "at": _TEXT},
    "lot-discard": {"lot": _TEXT, "inner": _MAYBE_COUNT, "count": _COUNT, "reason": _TEXT, "at": _TEXT},
    "master": {"digest": _TEXT, "what": _TEXT, "at": _TEXT},
    # a disc after the bench, and paper
    "disc": {"serial": _TEXT, "what": _TEXT, "at": _TEXT},
    "order": {"order": _TEXT, "what": _TEXT, "at": _TEXT},
    "label": {"batch": _TEXT, "serial": _TEXT, "at": _TEXT},
    "stock": {"what": _TEXT, "at": _TEXT},
}  # fmt: skip

FURTHER: Mapping[str, Mapping[str, Types]] = {  # what a line need not hold, but only so if it does
    "lot": {
        "coercivity": _MAYBE_COUNT, "faces": _MAYBE_COUNT, "condition": _MAYBE, "hub_ring": (bool, NONE), "inner_box": _MAYBE_COUNT,
        "price": (int, float, NONE), "supplier": _MAYBE, "at": _TEXT,
    },
    "drive": {"index": _MAYBE, "writes": (list, NONE), "reads": (list, NONE), "by_hand": _MAYBE, "at": _TEXT},
    "batch": {
        "revision": _MAYBE, "edition": _MAYBE, "disc": _COUNT, "discs": _COUNT, "path": _MAYBE, "zones": (dict, NONE),
        "first_sector": (dict, NONE), "needs": (dict, NONE), "slots": _LIST, "rewrites": _COUNT, "verify": _MAYBE, "accept": _LIST,
        "unserialled": _LIST, "practice": _FLAG, "continues": _MAYBE, "reworks": _MAYBE, "margin": (int, float, NONE),
    },
    "change": {
        "good": _MAYBE_COUNT, "lots": (list, NONE), "drives": (list, NONE), "writes": (list, NONE), "reads": (list, NONE),
        "tpi": _MAYBE_COUNT, "heads": _MAYBE_COUNT, "count": _MAYBE_COUNT, "inner_box": _MAYBE_COUNT,
    },
    "close": {"counted": (dict, NONE)},
    "image": {"file": _MAYBE},
    "writing": {"bench": _FLAG},
    "read": {
        "file_sha256": _MAYBE, "report_sha256": _MAYBE, "file": _MAYBE, "path": _MAYBE, "slot": _LIST, "operator": _MAYBE,
        "inner": _MAYBE_COUNT, "margin": (dict, NONE),
    },
    "reject": {"operator": _MAYBE, "inner": _MAYBE_COUNT},
    "amend": {"read_by": _MAYBE, "restore": _FLAG, "since": _MAYBE, "inner": _MAYBE_COUNT, "operator": _MAYBE},
    "master": {"by": _MAYBE, "reason": _MAYBE, "by_master": _MAYBE},
    "disc": {"reason": _MAYBE, "outcome": _MAYBE, "order": _MAYBE},
    "label": {"reason": _MAYBE},
}  # fmt: skip

CHOICES: Mapping[str, Mapping[str, tuple[str, ...]]] = {  # the only values of some keys
    "change": {"of": ("lot", "drive", "batch")},
    "hold": {"why": ("running", "share"), "side": ("A", "B")},
    "image": {"side": ("A", "B")},
    "writing": {"side": ("A", "B")},
    "drive-log": {"what": ("cleaned", "adjusted", "repaired", "retired")},
    "master": {"what": ("approve", "hold", "release", "supersede")},
}

WORDS: Mapping[type, str] = {
    str: "a text",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    list: "a list",
    dict: "an object",
    NONE: "null",
}
