"""Runs the real firmware on the invented board."""

import sys

import board_clock
import board_settings
import chips
import world

board_clock.START_us = world.scenario.get("first_us", 0)
if board_settings.CONVERTER == "simultaneous":
    chips.EightChannels(board_settings)
else:
    rates_Hz = world.scenario.get("chip_rates_Hz") or [board_settings.RATE_Hz] * board_settings.CHANNELS
    chips.Chips(
        board_settings.CLK_PIN,
        [
            chips.BridgeChip(channel, board_settings.DATA_PINS[channel], rates_Hz[channel])
            for channel in range(board_settings.CHANNELS)
        ],
    )

import main  # noqa: E402 - the pins have to be wired first

try:
    main.main()
except Exception as error:
    # On standard output it would pass for a line of the board's.
    sys.print_exception(error, sys.stderr)
