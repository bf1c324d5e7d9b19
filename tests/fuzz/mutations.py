"""Spoil good files in the ways files are spoiled: bits, cuts, repeats, splices, and nasty words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Sequence

WORDS: tuple[bytes, ...] = tuple(
    word.encode("utf-8", "surrogatepass") if isinstance(word, str) else word
    for word in (
        "", "\x00", "\x1b[2J", "\x1b]0;x\x07", "\x9b31m", "\u202e", "\u2066", "\ufeff", "\ud800", b"\xff\xfe",
        "nan", "inf", "-inf", "1e999", "-1", "0", "9" * 400, "1e-320", "0x10", "1_000", "\u0663", "−3",
        "null", "true", "[]", "{}", '"', "'", '"""', "[[[[", "]]", "{" * 300, "[" * 3000, ",", ";", "\n",
        "\r", "\r\n", "=1+1", "-5", "@x", "A4", "H9", "C-1", "G9", "B#4", "Fb5", "2026-05-31T14:05:00Z",
        "9999-12-31T23:59:59Z", "0001-01-01T00:00:00+23:59", "2026-W01-1T00", "e\u0301" * 50, "😀",
        "a" * 5000, "\u2028", "\u0085",
        "MThd", "MTrk", "RIFF", "WAVE", "fmt ", "data", b"\xff\xff\xff\xff", b"\x00\x00\x00\x00", b"\x7f\xff",
        b"\xff\x2f\x00", b"\xf0\xff\xff\x7f", b"\x80\x80\x80\x80\x80",
    )
)  # fmt: skip
MOST_BYTES = 60_000


def spoiled(seeds: Sequence[bytes], rng: random.Random) -> bytes:
    """One good file after a few random mishaps."""
    data = bytearray(rng.choice(seeds))
    for _ in range(1 + min(7, int(rng.expovariate(0.6)))):
        rng.choice(_WAYS)(data, seeds, rng)
    return bytes(data[:MOST_BYTES])


def _place(data: bytearray, rng: random.Random) -> int:
    return rng.randrange(len(data) + 1)


def _flip(data: bytearray, seeds: Sequence[bytes], rng: random.Random) -> None:
    if data:
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)


def _byte(data: bytearray, seeds: Sequence[bytes], rng: random.Random) -> None:
    if data:
        data[rng.randrange(len(data))] = rng.choice((0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)))


def _cut(data: bytearray, seeds: Sequence[bytes], rng: random.Random) -> None:
    del data[_place(data, rng) :]


def _drop(data: bytearray, seeds: Sequence[bytes], rng: random.Random) -> None:
    start = _place(data, rng)
    del data[start : start + rng.choice((1, 2, 4, 16, 100))]


def _word(data: bytearray, seeds: Sequence[bytes], rng: random.Random) -> None:
    start = _place(data, rng)
    data[start:start] = rng.choice(WORDS)


def _swap_token(data: bytearray, seeds: Sequence[bytes], rng: random.Random) -> None:
    """Put a word in the place of a value: what lies between two separators."""
    start = _place(data, rng)
    while start > 0 and data[start - 1] not in b",=:\n ":
        start -= 1
    end = start
    while end < len(data) and data[end] not in b",\n}]":
        end += 1
    data[start:end] = rng.choice(WORDS)


def _repeat(data: bytearray, seeds: Sequence[bytes], rng: random.Random) -> None:
    start = _place(data, rng)
    piece = bytes(data[start : start + rng.choice((1, 8, 60, 400))])
    data[start:start] = piece * rng.choice((1, 2, 30, 500))
    del data[MOST_BYTES:]


def _splice(data: bytearray, seeds: Sequence[bytes], rng: random.Random) -> None:
    other = rng.choice(seeds)
    data[_place(data, rng) :] = other[rng.randrange(len(other) + 1) :]


def _noise(data: bytearray, seeds: Sequence[bytes], rng: random.Random) -> None:
    start = _place(data, rng)
    data[start:start] = rng.randbytes(rng.choice((1, 4, 40)))


_WAYS: tuple[Callable[[bytearray, Sequence[bytes], random.Random], None], ...] = (
    _flip, _flip, _byte, _cut, _drop, _word, _word, _swap_token, _swap_token, _repeat, _splice, _noise,
)  # fmt: skip
