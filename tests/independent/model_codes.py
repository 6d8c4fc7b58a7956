"""The recording codes, written down a second time: bytes as cells, cells being strings of '0' and '1'.

Sources: the controllers' data sheets for FM and MFM; the drives' firmware listings and a drive's manual for the group codes.
"""

import binascii
import struct

NIBBLES = ["01010", "01011", "10010", "10011", "01110", "01111", "10110", "10111",
           "01001", "11001", "11010", "11011", "01101", "11101", "11110", "10101"]  # fmt: skip
WORDS = [high + low for high in NIBBLES for low in NIBBLES]
SIX = bytes.fromhex(
    "96979A9B9D9E9FA6A7ABACADAEAFB2B3B4B5B6B7B9BABBBCBDBEBFCBCDCECFD3D6D7D9DADBDCDDDEDFE5E6E7E9EAEBECEDEEEFF2F3F4F5F6F7F9FAFBFCFDFEFF"
)
FIVE = bytes.fromhex("ABADAEAFB5B6B7BABBBDBEBFD6D7DADBDDDEDFEAEBEDEEEFF5F6F7FAFBFDFEFF")
A1 = f"{0x4489:016b}"  # A1 without the clock before b2
C2 = f"{0x5224:016b}"  # C2 without the clock before b3
FM_MARKS = {0xFE: f"{0xF57E:016b}", 0xFB: f"{0xF56F:016b}", 0xF8: f"{0xF56A:016b}"}  # clocks C7
FM_INDEX = f"{0xF77A:016b}"  # FC with clocks D7


def bits(data):
    """Bytes as their bits, most significant first."""
    return f"{int.from_bytes(data, 'big'):0{8 * len(data)}b}" if data else ""


def four_to_five(data):
    """Each nibble as its five-bit word, high nibble first."""
    return "".join(map(WORDS.__getitem__, data))


def four_and_four(byte):
    """A byte as two: the odd bits, then the even bits, each between ones."""
    return bytes([(byte >> 1) | 0xAA, byte | 0xAA])


def swap(pair):
    """Two bits in the other order."""
    return ((pair & 1) << 1) | (pair >> 1)


def chained(values, words):
    """Each value with the one before it exclusively or'ed in, as disk bytes, and the last value once more: the check."""
    mixed = [values[0]] + [values[k] ^ values[k - 1] for k in range(1, len(values))] + [values[-1]]
    return bytes(words[value] for value in mixed)


def six_and_two(body, spare=None):
    """256 bytes as 342 chained disk bytes and the check; `spare` fills the two unused bit pairs (default: the listing's wrap)."""
    spare = (body[0], body[1]) if spare is None else spare
    third = list(body[172:]) + list(spare)
    low = [swap(body[j] & 3) | swap(body[j + 86] & 3) << 2 | swap(third[j] & 3) << 4 for j in range(86)]
    return chained(low + [byte >> 2 for byte in body], SIX)


def five_and_three(body, spare=0):
    """256 bytes as 410 chained disk bytes and the check; `spare` fills the two bits that no byte uses."""
    high, low = [0] * 256, [0] * 154
    for x in range(51):
        a, b, c, d, e = five = body[5 * (50 - x) : 5 * (50 - x) + 5]
        for k in range(5):
            high[x + 51 * k] = five[k] >> 3
        low[x] = (a & 7) << 2 | (d >> 2 & 1) << 1 | e >> 2 & 1
        low[x + 51] = (b & 7) << 2 | (d >> 1 & 1) << 1 | e >> 1 & 1
        low[x + 102] = (c & 7) << 2 | (d & 1) << 1 | e & 1
    high[255], low[153] = body[255] >> 3, spare << 3 | body[255] & 7
    return chained(low[::-1] + high, FIVE)


def mfm_byte(byte, before):
    """A byte as MFM cells: a clock only between two zeros. `before`: the data bit just before."""
    out = []
    for bit in f"{byte:08b}":
        out.append("1" if before == "0" and bit == "0" else "0")
        out.append(bit)
        before = bit
    return "".join(out)


MFM_BYTES = {before: [mfm_byte(byte, before) for byte in range(256)] for before in "01"}
FM_BYTES = ["".join(f"1{bit}" for bit in f"{byte:08b}") for byte in range(256)]


def mfm(data, before="0"):
    """Bytes as MFM cells."""
    out = []
    for byte in data:
        out.append(MFM_BYTES[before][byte])
        before = "01"[byte & 1]
    return "".join(out)


def fm(data):
    """Bytes as FM cells: a clock before every bit."""
    return "".join(FM_BYTES[byte] for byte in data)


def crc(data):
    """The CRC of FM and MFM: x^16 + x^12 + x^5 + 1, preset to ones."""
    return struct.pack(">H", binascii.crc_hqx(data, 0xFFFF))


def inverted(data):
    """Every bit the other way."""
    return bytes(byte ^ 255 for byte in data)
