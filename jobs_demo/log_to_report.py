"""Turns a reader's messages into a sector report: python log_to_report.py LOG NAME.report.csv

A report names every sector of the side, so the script needs to know which there are: adapt SECTORS. The messages are taken to
look like these; adapt PATTERN, STATES and LAST to your reader's own words.

    track 17 head 0 sector 4: good after 3 tries
    track 22 head 0 sector 11: data check failed after 10 tries
    all tracks read
"""

import re
import sys
from pathlib import Path

SECTORS = [(track, 0, sector) for track in range(35) for sector in range(16)]
PATTERN = re.compile(r"track (\d+) head (\d+) sector (\d+): (.+) after (\d+) tries")
STATES = {"good": "good", "data check failed": "block-check", "header check failed": "identifier-check", "not found": "absent"}
LAST = "all tracks read"


def main(log, out):
    """Writes the report: good at the first try, unless a message says otherwise."""
    lines = [line.strip() for line in Path(log).read_bytes().decode("utf-8", "replace").splitlines()]
    if LAST not in lines:  # a reader that broke off says nothing of the sectors that it never came to
        sys.exit(f"{log}: no line '{LAST}': the reading was broken off; read the disc again")
    rows = {sector: ("good", 1) for sector in SECTORS}
    for line in lines:
        if match := PATTERN.fullmatch(line):
            track, head, sector, words, tries = match.groups()
            rows[int(track), int(head), int(sector)] = STATES.get(words, "unread"), int(tries)
    report = ["track,head,sector,state,tries"]
    report += [f"{track},{head},{sector},{state},{tries}" for (track, head, sector), (state, tries) in rows.items()]
    Path(out).write_bytes(("\n".join(report) + "\n").encode())


main(*sys.argv[1:]) if len(sys.argv) == 3 else sys.exit(__doc__)
