"""The demo's programs are real: their bytes are their sources assembled, and they play."""

from pathlib import Path

import pytest
from assembler import assemble
from machine import Machine

SHOP = Path(__file__).parents[2] / "jobs_demo"
ORIGIN = 0x2000
SIDES = ("side-a", "side-b")
ANSWERS = [line.split("; ")[1] for line in (SHOP / "both-sides" / "levels.asm").read_text().splitlines()[1:]]


def loaded(side, hooks=None) -> tuple[Machine, dict[str, int]]:
    program, labels = assemble(SHOP / side / "lamplighter.asm")
    return Machine(program, ORIGIN, {labels[name]: act for name, act in (hooks or {}).items()}), labels


@pytest.mark.parametrize("side", SIDES)
def test_the_bytes_on_the_disc_are_the_source_assembled(side):
    program, labels = assemble(SHOP / side / "lamplighter.asm")
    assert (SHOP / side / "lamplighter.bin").read_bytes() == program
    assert labels["start"] == ORIGIN


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("level", range(8))
def test_every_level_can_be_done_as_its_comment_says(side, level):
    machine, labels = loaded(side)
    machine.x = level
    machine.call(labels["load_level"])
    machine.call(labels["solved"])
    assert machine.a == 0
    for letter in ANSWERS[level]:
        machine.x = ord(letter) - ord("A")
        machine.call(labels["press"])
    machine.call(labels["solved"])
    assert machine.a == 1


@pytest.mark.parametrize("place", [0, 4, 12, 20, 24, 7])
def test_a_lamp_turns_over_with_its_neighbours(place):
    machine, labels = loaded("side-a")
    machine.x = place
    machine.call(labels["press"])
    row, column = divmod(place, 5)
    turned = {place} | {
        5 * r + c for r, c in ((row, column - 1), (row, column + 1), (row - 1, column), (row + 1, column)) if 0 <= r < 5 > c >= 0
    }
    board = machine.memory[labels["BOARD"] : labels["BOARD"] + 25]
    assert {at for at in range(25) if board[at]} == turned
    assert machine.x == place


@pytest.mark.parametrize("side", SIDES)
def test_the_whole_game_ends_when_all_streets_are_lit(side):
    keys = iter("".join(ANSWERS))

    def key(machine: Machine) -> None:
        machine.a = ord(next(keys))

    machine, labels = loaded(side, {"key": key})
    machine.call(labels["start"])
    assert next(keys, None) is None
    lit = machine.memory[labels["lamps"] + 1]
    first_row = machine.word(labels["row_low"]) & 0xFF | machine.memory[labels["row_high"]] << 8
    assert machine.memory[first_row : first_row + 9 : 2] == bytes([lit] * 5)
    title = bytes(byte & 0x7F for byte in machine.memory[0x400:0x40B])
    assert title == b"LAMPLIGHTER"


@pytest.mark.parametrize("name", ["how-to-play", "how-to-play-1.1"])
def test_the_instructions_are_the_same_text_on_both_sides(name):
    text = (SHOP / "both-sides" / f"{name}.txt").read_text().replace("\n", "\r").encode("ascii")
    assert (SHOP / "side-a" / f"{name}.bin").read_bytes() == text
    assert (SHOP / "side-b" / f"{name}.bin").read_bytes() == bytes(byte | 0x80 for byte in text)


def test_the_level_file_is_the_table_in_the_program():
    program, labels = assemble(SHOP / "side-a" / "lamplighter.asm")
    at = labels["levels"] - ORIGIN
    assert (SHOP / "side-a" / "levels.bin").read_bytes() == program[at : at + 32]
