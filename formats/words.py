"""Words for people that several modules need."""


def counted(count: int, word: str) -> str:
    """So many of something: `1 block`, `1,119 sectors`."""
    return f"{count:,} {word}{'' if count == 1 else 's'}"
