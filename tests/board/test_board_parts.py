"""Parts of the firmware by themselves, in MicroPython, and what the documentation promises of it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from invented_board import FIRMWARE, HERE, needs_micropython, run_micropython

from firmware_bridge.counts import NO_READING
from firmware_bridge.decoder import Decoder
from firmware_bridge.framing import END, unseal
from firmware_bridge.messages import Samples

SHIM = HERE / "shim"
ROOT = FIRMWARE.parents[1]
FACTS = json.loads((ROOT / "tests" / "reference" / "converter_facts.json").read_text(encoding="utf-8"))
PAGE = (ROOT / "docs" / "firmware.md").read_text(encoding="utf-8")


@needs_micropython
def test_counts_are_extended_by_their_sign() -> None:
    # Source: data sheet of the converter, as listed in tests/reference/converter_facts.json.
    examples = FACTS["sign_extension_examples"]
    out = run_micropython(f"import converter\nfor text in {list(examples)!r}: print(converter.signed(int(text, 16)))")
    assert [int(line) for line in out.split()] == list(examples.values())


def test_driver_and_invented_chip_keep_to_the_data_sheet() -> None:
    chip = FACTS["HX711"]
    driver = (FIRMWARE / "shared_clock.py").read_text(encoding="utf-8")
    power_down_us = int(re.search(r"^POWER_DOWN_us = (\d+)$", driver, re.MULTILINE)[1])  # type: ignore[index]
    beyond_us = int(re.search(r"longer than (\d+) us", chip["power_down"])[1])  # type: ignore[index]
    assert power_down_us > beyond_us
    assert f"\nPOWERS_DOWN_BEYOND_us = {beyond_us}\n" in (SHIM / "chips.py").read_text(encoding="utf-8")
    rates_cHz = re.search(r"^RATES_cHz = \((.*)\)$", driver, re.MULTILINE)[1]  # type: ignore[index]
    assert [int(rate) / 100 for rate in rates_cHz.split(",")] == chip["rates_sps"]
    # 1 to 3 gain pulses after the 24 bits are the data sheet's 25 to 27.
    assert [24 + pulses for pulses in (1, 2, 3)] == sorted(map(int, chip["pulses"]))


@needs_micropython
def test_the_clock_runs_on_across_both_wraps() -> None:
    script = """
import world, board_clock, time
board_clock.START_us = 2**32 - 1000
world._first_tick = 2**30 - 500
clock = board_clock.BoardClock()
begin, tick = world.now, time.ticks_us()
for step in (400, 99, 1, 501, 2**28, 2**28, 2**28, 2**28):
    world.now += step
    print((clock.now() - (2**32 - 1000) - world.now + begin) % 2**32, clock.at(tick) if step < 502 else "")
"""
    lines = run_micropython(script, SHIM).splitlines()
    # Each reading of the clock takes the invented world a microsecond; nothing else may be between the two.
    assert [int(line.split()[0]) for line in lines] == [int(lines[0].split()[0])] * len(lines)
    assert len({line.split()[1] for line in lines if " " in line.strip()}) == 1


@needs_micropython
@pytest.mark.parametrize("takes", ["[1]", "[None, 5, 0, 64, 3]", "[64]"], ids=["a byte", "moody", "all"])
def test_the_outbox_obeys_what_a_write_returns(takes: str) -> None:
    script = f"""
from binascii import hexlify
from outbox import MOST_BYTES, Outbox

class Stream:
    def __init__(self):
        self.taken, self.turn = bytearray(), 0

    def write(self, data):
        takes = {takes}
        take = takes[self.turn % len(takes)]
        self.turn += 1
        if take is None:
            return None
        take = min(take, len(data))
        self.taken += data[:take]
        return take

stream = Stream()
outbox = Outbox(stream, 300)
kept = refused = 0
for number in range(200):
    payload = bytearray(200)
    payload[0], payload[3] = 2, number
    if outbox.send(payload, 150):
        kept += 1
    else:
        refused += 1
    assert outbox.size <= MOST_BYTES
    if number % 10 == 0:
        outbox.pump()
for _ in range(100000):
    outbox.pump()
assert outbox.size == 0
print(kept, refused)
print(hexlify(stream.taken).decode())
"""
    counts, taken = run_micropython(script).splitlines()
    stored, refused = map(int, counts.split())
    assert stored + refused == 200
    assert refused > 0
    pieces = bytes.fromhex(taken).split(END)
    assert pieces.pop() == b""
    # Refused frames use up no number: what came is numbered without a hole, each whole.
    assert [unseal(piece)[1] for piece in pieces] == list(range(stored))


@needs_micropython
def test_a_boot_counter_that_was_torn_does_not_give_an_old_number_again(tmp_path: Path) -> None:
    script = f"""
import os
os.chdir({str(tmp_path)!r})
import identity
print(identity.next_boot_count(), identity.next_boot_count())
for _ in range(8):
    with open(identity.BOOT_COUNT_FILE, "w") as file:
        pass
    print(identity.next_boot_count(), identity.next_boot_count())
"""
    first, *torn = [[int(word) for word in line.split()] for line in run_micropython(script, SHIM).splitlines()]
    assert first == [1, 2]
    # Nothing of the sort 1, 2, ...: eight draws of 32 bits, and from each it is counted on.
    assert len({one for one, _ in torn}) == 8
    assert all(following == (one + 1) % 2**32 for one, following in torn)


@needs_micropython
def test_the_ring_counts_what_it_cannot_keep() -> None:
    script = """
from readings import Readings
ring = Readings(8, lambda: bytearray(1))
number = 0
for wanted, taken in ((3, 2), (20, 4), (2, 9), (30, 30), (1, 30)):
    for _ in range(wanted):
        slot = ring.claim()
        if slot is not None:
            slot[0] = number
            ring.keep(1000 + number)
        number += 1
    for _ in range(taken):
        slot = ring.oldest()
        if slot is None:
            break
        print(slot[0], ring.tick, ring.lost)
        ring.release()
"""
    rows = [tuple(map(int, line.split())) for line in run_micropython(script).splitlines()]
    following = 0
    for number, tick, lost in rows:
        assert (number, tick) == (following + lost, 1000 + number)
        following = number + 1
    assert rows[-1][0] == 55
    assert sum(lost for _, _, lost in rows) == 56 - len(rows)


@needs_micropython
def test_the_documented_text_board_is_understood_by_the_host() -> None:
    example = re.search(r"```python\n(.*?)```", PAGE, re.DOTALL)[1]  # type: ignore[index]
    rows: list[list[int | None]] = [[1, -2, None], [8_388_607, -8_388_608, 0], [None, None, 5]]
    script = f"{example}\nrows = iter({rows!r})\ntry:\n    run(lambda: next(rows))\nexcept StopIteration:\n    pass\n"
    result = [one.value for one in Decoder().push(run_micropython(script).encode())]
    assert all(isinstance(one, Samples) for one in result)
    counts = [one.counts.tolist()[0] for one in result if isinstance(one, Samples)]
    assert counts == [[NO_READING if count is None else count for count in row] for row in rows]


def test_the_page_lists_every_fault_and_every_setting() -> None:
    source = (FIRMWARE / "faults.py").read_text(encoding="utf-8")
    codes = {int(code) for code in re.findall(r"^[A-Z_]+ = (\d+)$", source, re.MULTILINE)} - {80, 24}
    assert codes == {int(code) for code in re.findall(r"^\| (\d+) \|", PAGE, re.MULTILINE)}
    settings = re.findall(
        r"^([A-Z_a-z]+) = ", (FIRMWARE / "board_settings.py").read_text(encoding="utf-8"), re.MULTILINE
    )
    assert len(settings) > 15
    assert [name for name in settings if f"`{name}`" not in PAGE] == []


def test_the_firmware_shares_no_code_with_the_host() -> None:
    for path in FIRMWARE.glob("*.py"):
        imported = re.findall(r"^\s*(?:import|from) ([\w.]+)", path.read_text(encoding="utf-8"), re.MULTILINE)
        assert {name.partition(".")[0] for name in imported} & {"firmware_bridge", "monitor"} == set(), path.name
    assert Path(FIRMWARE / "__init__.py").exists() is False
