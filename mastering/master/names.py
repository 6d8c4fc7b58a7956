"""Files' names outside of a disc: in JSON, and as files of this machine."""


def text_of(name: bytes) -> str:
    """A name in JSON: ASCII as it is, any other in the form of an extracted file's name."""
    return name.decode("ascii") if name.isascii() else safe_name(name)


def safe_name(name: bytes) -> str:
    """A name for a file of this machine: bytes outside `A-Z a-z 0-9 . _ -` as %XX."""
    return "".join(chr(byte) if chr(byte).isascii() and (chr(byte).isalnum() or byte in b"._-") else f"%{byte:02X}" for byte in name)
