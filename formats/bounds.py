"""How a capture begins, and how large the files that a reader leaves may be. Imports nothing, as every command reads it."""

SIGNATURE = bytes.fromhex("8A 4F 42 56 0D 0A 1A 0A")  # of a capture
LARGEST_CAPTURE = 256 << 20  # bytes
LARGEST_CHUNK = 64 << 20  # bytes of one chunk of a capture
LARGEST_REPORT = 1 << 20  # bytes of a sector report
