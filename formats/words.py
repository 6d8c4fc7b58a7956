"""Words for people that several modules need."""


def counted(count: int, word: str, many: str = "") -> str:
    """So many of something: `1 block`, `1,119 sectors`; `many`: the word for several, where it is not made with an s."""
    return f"{count:,} {word if count == 1 else many or word + 's'}"
