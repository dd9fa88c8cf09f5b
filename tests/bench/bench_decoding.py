"""Frame decoding in bulk: sixteen-channel frames a second, every frame kept.

Claim: at least 100,000 CSV frames a second with a CRC-16; the program fails below. The other
layouts are printed for comparison.

Usage: python tests/bench/bench_decoding.py
"""

from __future__ import annotations

import sys
import time

from harness.descriptions.board import BinaryFrame, FrameField, FrameLayout, JsonFrame, TextFrame
from harness.protocols.frame_decoder import GoodFrame, decoder_for
from harness.protocols.frame_encoder import encoder_for

FRAMES = 50_000
CHUNK_BYTES = 4096
REPEATS = 5
LEAST_CSV_FRAMES_PER_SECOND = 100_000.0


def layouts() -> dict[str, FrameLayout]:
    """The same sixteen cells and a sequence number in every layout."""

    def fields(key: str = "", kind: str | None = None) -> tuple[FrameField, ...]:
        counter = FrameField(quantity="sequence", key=key and "n", type=kind and "u8")
        cells = FrameField(
            quantity="cell_voltage",
            channels=(1, 16),
            key=key,
            scale=0.001,
            type="u16le" if kind else None,
        )
        return counter, cells

    return {
        "csv, crc16": TextFrame(form="csv", fields=fields(), start=">", check="crc16-modbus"),
        "csv, xor": TextFrame(form="csv", fields=fields(), start=">", check="xor8"),
        "key=value, xor": TextFrame(
            form="key-value", fields=fields("c{channel}"), start=">", check="xor8"
        ),
        "json lines": JsonFrame(form="json-lines", fields=fields("cells")),
        "binary, crc16": BinaryFrame(form="binary", fields=fields(kind="u16le"), sync=(170, 85)),
    }


def stream_of(layout: FrameLayout) -> bytes:
    """`FRAMES` frames with changing values."""
    encoder = encoder_for(layout)
    return b"".join(
        encoder.encode(tuple(3.0 + 0.001 * ((i + k) % 600) for k in range(16)), i % 256, None)
        for i in range(FRAMES)
    )


def frames_per_second(layout: FrameLayout) -> float:
    """The best of `REPEATS` runs over the stream, in chunks as a port gives them."""
    stream = stream_of(layout)
    best = 0.0
    for _ in range(REPEATS):
        decoder = decoder_for(layout, starts_mid_stream=False)
        kept = []
        began = time.perf_counter()
        for at in range(0, len(stream), CHUNK_BYTES):
            kept += decoder.receive(stream[at : at + CHUNK_BYTES])
        taken = time.perf_counter() - began
        good = sum(isinstance(event, GoodFrame) for event in kept)
        if good != FRAMES:
            raise SystemExit(f"expected {FRAMES} good frames, got {good}")
        best = max(best, FRAMES / taken)
    return best


def main() -> int:
    """Print every layout; returns the exit code."""
    measured = {name: frames_per_second(layout) for name, layout in layouts().items()}
    for name, rate in measured.items():
        print(f"{name:15} {rate:10,.0f} frames/s")
    holds = measured["csv, crc16"] >= LEAST_CSV_FRAMES_PER_SECOND
    print("claim holds" if holds else "CLAIM DOES NOT HOLD")
    return 0 if holds else 1


if __name__ == "__main__":
    sys.exit(main())
