"""How a capture begins, and how large the files that a reader leaves may be. Imports nothing, as every command reads it."""

SIGNATURE = bytes.fromhex("8A 4F 42 56 0D 0A 1A 0A")  # of a capture
LARGEST_CAPTURE = 64 << 20  # bytes
LARGEST_HEAD = 64 << 10  # bytes of a chunk's payload
LARGEST_CELL = 4 << 20
MOST_CHUNKS = 2048
LAST_CYLINDER = 95
MOST_INDEX_MARKS = 64  # of one read of a track
LARGEST_REPORT = 1 << 20  # bytes of a sector report
