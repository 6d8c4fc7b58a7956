"""What says that a file is a capture, and how large a capture and a sector report may be. Needs no other module: a glance at a file is cheap."""

SIGNATURE = bytes.fromhex("8A 4F 42 56 0D 0A 1A 0A")  # a capture's first bytes
LARGEST_CAPTURE = 64 << 20  # bytes
MOST_CHUNKS = 2048
LARGEST_HEAD = 64 << 10  # bytes of payload
LARGEST_CELL = 4 << 20
LAST_CYLINDER = 95
MOST_INDEX_MARKS = 64  # of one read of a track
REPORT_SUFFIX = ".report.csv"
LARGEST_REPORT = 1 << 20
