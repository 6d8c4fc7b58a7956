"""A little assembler for the demo's 8-bit programs: enough of the processor's published instruction table for them."""

import re
from pathlib import Path

# Mnemonic and addressing mode to opcode: from the processor's data sheet (instruction set summary).
OPCODES = {
    "ADC #": 0x69, "AND #": 0x29, "AND abs,X": 0x3D, "ASL A": 0x0A, "ASL abs": 0x0E, "BCC rel": 0x90, "BCS rel": 0xB0,
    "BEQ rel": 0xF0, "BNE rel": 0xD0, "BPL rel": 0x10, "CLC": 0x18, "CMP #": 0xC9, "CPX #": 0xE0, "CPY #": 0xC0,
    "DEC abs": 0xCE, "DEX": 0xCA, "EOR #": 0x49, "INC abs": 0xEE, "INX": 0xE8, "INY": 0xC8, "JMP abs": 0x4C,
    "JSR abs": 0x20, "LDA #": 0xA9, "LDA abs": 0xAD, "LDA abs,X": 0xBD, "LDX #": 0xA2, "LDX abs": 0xAE, "LDY #": 0xA0,
    "ROL A": 0x2A, "RTS": 0x60, "SBC #": 0xE9, "SEC": 0x38, "STA abs": 0x8D, "STA abs,X": 0x9D, "STA abs,Y": 0x99,
    "STA zp": 0x85, "STA (zp),Y": 0x91, "STX abs": 0x8E, "TAX": 0xAA, "TXA": 0x8A,
}  # fmt: skip
LENGTHS = {"": 1, "A": 1, "#": 2, "zp": 2, "(zp),Y": 2, "rel": 2, "abs": 3, "abs,X": 3, "abs,Y": 3}


def statements(path: Path, folders: list[Path]):
    """Label, word and operand of each line, includes in their place."""
    for line in path.read_text().splitlines():
        code = re.sub(r';(?=(?:[^"]*"[^"]*")*[^"]*$).*', "", line).rstrip()
        match = re.fullmatch(r"(?:(\w+):)?\s*(?:(\w+)\s*=\s*(\S+)|(\.?\w+)?\s*(.*))", code)
        assert match is not None, line
        label, name, value, word, operand = match.groups()
        if word == ".include":
            if label:
                yield label, None, ""
            found = next(folder / f"{operand}.asm" for folder in folders if (folder / f"{operand}.asm").exists())
            yield from statements(found, folders)
        elif name:
            yield name, "=", value
        elif label or word:
            yield label, word, operand.strip()


def number(text: str, labels: dict[str, int]) -> int:
    base, _, plus = text.partition("+")
    value = int(base[1:], 16) if base.startswith("$") else int(base) if base.isdigit() else labels.get(base, 0xFFFF)
    return value + (int(plus) if plus else 0)


def mode_of(word: str, operand: str, labels: dict[str, int]) -> tuple[str, str]:
    """Addressing mode and the number's text."""
    if not operand:
        return ("A" if f"{word} A" in OPCODES else ""), ""
    if operand.startswith("#"):
        return "#", operand[1:]
    if match := re.fullmatch(r"\((.+)\),Y", operand):
        return "(zp),Y", match[1]
    if word.startswith("B"):
        return "rel", operand
    base, _, index = operand.partition(",")
    if not index and f"{word} zp" in OPCODES and number(base, labels) < 0x100:
        return "zp", base
    return f"abs,{index}" if index else "abs", base


def data_of(word: str, operand: str, labels: dict[str, int]) -> bytes:
    if word == ".byte":
        return bytes(number(each.strip(), labels) for each in operand.split(","))
    text = operand.strip('"').encode("ascii")
    return bytes(byte | 0x80 for byte in text) if word == ".high" else text


def assemble(path: Path) -> tuple[bytes, dict[str, int]]:
    """A program's bytes, from its origin on, and its labels."""
    folders = [path.parent, path.parent.parent / "both-sides"]
    lines = list(statements(path, folders))
    labels: dict[str, int] = {}
    for _ in range(3):  # until every label has settled
        out = bytearray()
        origin = 0
        for label, word, operand in lines:
            if word == "=":
                labels[label] = number(operand, labels)
                continue
            if word == ".org":
                origin = number(operand, labels)
                continue
            if label:
                labels[label] = origin + len(out)
            if word is None:
                continue
            if word.startswith("."):
                out += data_of(word, operand, labels)
                continue
            mode, text = mode_of(word, operand, labels)
            out.append(OPCODES[f"{word} {mode}".strip()])
            value = number(text, labels) if text else 0
            if mode == "rel":
                value = (value - (origin + len(out) + 1)) & 0xFF
            out += value.to_bytes(2, "little")[: LENGTHS[mode] - 1]
    return bytes(out), labels
