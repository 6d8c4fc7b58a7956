"""Where a number comes from, as a field of the declaration that uses it."""

from dataclasses import dataclass
from typing import Literal

How = Literal["published", "looked up", "computed", "common practice", "from memory"]


@dataclass(frozen=True)
class Source:
    """Title and section of what was read, and how far it carries.

    `published`: the number stands in the source named; `looked up`: it was read in a listing or manual named in general words;
    `computed`: it follows from the others; `common practice`: a rule of the trade without a source; `from memory`: nobody
    looked it up.
    """

    title: str
    section: str
    how: How
    note: str = ""
