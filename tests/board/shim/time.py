"""The board's time module: ticks of the invented world, wrapping at 2**30 as on a 32-bit board."""

import micropython
import world

PERIOD = 1 << 30


ticks_us = world.ticks_us


@micropython.native
def ticks_diff(later, earlier):
    return ((later - earlier + PERIOD // 2) & (PERIOD - 1)) - PERIOD // 2


def ticks_add(tick, delta):
    return (tick + delta) & (PERIOD - 1)


def sleep_us(us):
    world.spend(us)


def sleep_ms(ms):
    world.spend(1000 * ms)
