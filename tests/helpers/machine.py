"""A little interpreter for the demo's programs: the instructions that the assembler knows, from the processor's data sheet."""

from collections.abc import Callable


class Machine:
    """Memory, registers, and routines of the host at some addresses."""

    def __init__(self, program: bytes, origin: int, hooks: dict[int, Callable[["Machine"], None]] | None = None) -> None:
        self.memory = bytearray(0x10000)
        self.memory[origin : origin + len(program)] = program
        self.hooks = hooks or {}
        self.a = self.x = self.y = 0
        self.carry = self.zero = self.negative = False
        self.stack: list[int] = []

    def word(self, at: int) -> int:
        return self.memory[at] | self.memory[at + 1] << 8

    def flags(self, value: int) -> int:
        value &= 0xFF
        self.zero, self.negative = value == 0, value >= 0x80
        return value

    def compare(self, register: int, value: int) -> None:
        self.carry = register >= value
        self.flags(register - value)

    def call(self, address: int, most: int = 200_000) -> None:
        """Runs the routine at an address until it returns."""
        self.pc, depth = address, len(self.stack)
        self.stack.append(-1)
        for _ in range(most):
            if self.pc in self.hooks:
                self.hooks[self.pc](self)
                self.pc = self.stack.pop()
            else:
                self.step()
            if len(self.stack) == depth:
                return
        raise AssertionError("the routine does not return")

    def step(self) -> None:
        code, at = self.memory[self.pc], self.pc + 1
        byte, word = self.memory[at], self.word(at)
        branches = {0x90: not self.carry, 0xB0: self.carry, 0xF0: self.zero, 0xD0: not self.zero, 0x10: not self.negative}
        self.pc = at
        if code in branches:
            self.pc = at + 1 + (byte - 256 if byte >= 128 else byte) * branches[code]
        elif code == 0x20:
            self.stack.append(at + 2)
            self.pc = word
        elif code == 0x4C:
            self.pc = word
        elif code == 0x60:
            self.pc = self.stack.pop()
        else:
            self.pc = at + self.plain(code, byte, word)

    def plain(self, code: int, byte: int, word: int) -> int:
        """Instructions that go on to the next one; returns how many bytes their operand has."""
        memory, indexed = self.memory, (word + self.x) & 0xFFFF
        if code in (0xA9, 0xAD, 0xBD):
            self.a = self.flags({0xA9: byte, 0xAD: memory[word], 0xBD: memory[indexed]}[code])
        elif code in (0xA2, 0xAE):
            self.x = self.flags(byte if code == 0xA2 else memory[word])
        elif code == 0xA0:
            self.y = self.flags(byte)
        elif code in (0x85, 0x91, 0x8D, 0x9D, 0x99):
            target = {0x85: byte, 0x91: self.word(byte) + self.y, 0x8D: word, 0x9D: indexed, 0x99: word + self.y}[code]
            memory[target & 0xFFFF] = self.a
        elif code == 0x8E:
            memory[word] = self.x
        elif code in (0x69, 0xE9):
            total = self.a + (byte if code == 0x69 else byte ^ 0xFF) + self.carry
            self.carry, self.a = total > 0xFF, self.flags(total)
        elif code in (0x29, 0x3D, 0x49):
            self.a = self.flags({0x29: self.a & byte, 0x3D: self.a & memory[indexed], 0x49: self.a ^ byte}[code])
        elif code in (0x0A, 0x2A):
            value = self.a << 1 | (self.carry if code == 0x2A else 0)
            self.carry, self.a = value > 0xFF, self.flags(value)
        elif code == 0x0E:
            self.carry = memory[word] >= 0x80
            memory[word] = self.flags(memory[word] << 1)
        elif code in (0xCE, 0xEE):
            memory[word] = self.flags(memory[word] + (1 if code == 0xEE else -1))
        elif code in (0xC9, 0xE0, 0xC0):
            self.compare({0xC9: self.a, 0xE0: self.x, 0xC0: self.y}[code], byte)
        elif code in (0xCA, 0xE8):
            self.x = self.flags(self.x + (1 if code == 0xE8 else -1))
        elif code == 0xC8:
            self.y = self.flags(self.y + 1)
        elif code == 0xAA:
            self.x = self.flags(self.a)
        elif code == 0x8A:
            self.a = self.flags(self.x)
        elif code in (0x18, 0x38):
            self.carry = code == 0x38
        else:
            raise AssertionError(f"no instruction {code:02X} at {self.pc - 1:04X}")
        implied = (0x0A, 0x2A, 0xCA, 0xE8, 0xC8, 0xAA, 0x8A, 0x18, 0x38)
        return 0 if code in implied else 1 if code & 0x1F in (0x00, 0x02, 0x05, 0x09, 0x11) else 2
