"""Invented time and what happens in it. Nothing here allocates on the way of an interrupt handler.

Every pin operation costs a microsecond or two; between them chips convert, other interrupts hold the program up, and
handlers run, with the heap locked so that an allocation in one is an error.
"""

import json
import os
import sys

import micropython

scenario = json.loads(os.getenv("SCENARIO") or "{}")

TAIL_us = 3000000  # after the end: what is on its way arrives

now = 0
wake_us = 0
heard = False
violations = []

_devices = []
_pending = [None] * 32
_pending_count = 0
_irq_on = True
_in_handler = False
_next_us = 1 << 60
_first_tick = scenario.get("first_tick", 0)
_ppm = scenario.get("ppm", 0)
_speed = scenario.get("speed", 0)
_end_us = int(scenario.get("end_s", 60) * 1000000)
_away = [int(s * 1000000) for s in scenario.get("host_away_s", (1e9, 1e9))]
_holds = [int(s * 1000000) for s in scenario.get("hold_at_s", ())]
_unprotected = scenario.get("unprotected", False)
_hog_us = scenario.get("hog_us", 0)
_hog_every_us = scenario.get("hog_every_us", 997)
_next_hog = _hog_every_us if _hog_us else 1 << 60
_noise = 1
_control = open(scenario["control_fd"], "rb") if "control_fd" in scenario else None  # noqa: SIM115 - for good
_real_start_us = None
_over = False
_next_mark = 0


def faults(kind, channel=None):
    """Return the windows (begin_us, end_us) in which a fault of this kind holds."""
    return [
        (int(one["from_s"] * 1000000), int(one["to_s"] * 1000000))
        for one in scenario.get("faults", ())
        if one["kind"] == kind and (channel is None or one.get("channel") in (None, channel))
    ]


@micropython.native
def within(windows, at_us):
    for begin, end in windows:  # noqa: SIM110 - a generator would allocate
        if begin <= at_us < end:
            return True
    return False


@micropython.native
def ticks_us():
    global now
    now += 1
    if now >= wake_us:
        catch_up()
    return (_first_tick + now + now * _ppm // 1000000) & ((1 << 30) - 1)


def add(device):
    _devices.append(device)
    compute()


@micropython.native
def compute():
    """Find the next thing that happens by itself; to be called when a device changes its time."""
    global _next_us, wake_us
    earliest = 1 << 60
    if not _over:
        # After the scenario's end what is on its way may still arrive, and nothing new begins.
        for device in _devices:
            if device.next_us < earliest:
                earliest = device.next_us
    _next_us = earliest
    if _next_hog < earliest:
        earliest = _next_hog
    if _next_mark < earliest:
        earliest = _next_mark
    wake_us = earliest


@micropython.native
def spend(us):
    """Let time pass: the quick way, taken at every pin operation, is one comparison."""
    global now
    now += us
    if now >= wake_us:
        catch_up()


@micropython.native
def catch_up():
    """Let everything happen that was due until now."""
    global now, _next_hog, _noise
    target = now
    while _next_us <= target:
        for device in _devices:
            if device.next_us == _next_us:
                break
        now = _next_us
        device.fire()
        compute()
        if _pending_count and _irq_on and not _in_handler:
            _handle()
        if now > target:
            target = now
    now = target
    if _irq_on and now >= _next_hog:
        # Another interrupt handler keeps the program from going on.
        _noise = (_noise * 1103515245 + 12345) & 0x7FFFFFFF
        now += _hog_us
        _next_hog = now + 20 + (_noise >> 8) % (2 * _hog_every_us)
    if not _in_handler and _irq_on:
        if _pending_count:
            _handle()
        if now >= _next_mark:
            _pass_mark()
    compute()


def _pass_mark():
    global _over, _next_mark
    if _holds and now >= _holds[0]:
        sys.stderr.write('{"at_s": %g}\n' % (_holds.pop(0) / 1000000))
        _control.read(1)
    if now >= _end_us + TAIL_us:
        finish("end")
    if now >= _end_us:
        _over = True
    _next_mark = _end_us + TAIL_us if _over else _end_us
    if _holds and _holds[0] < _next_mark:
        _next_mark = _holds[0]


def edge(line):
    """Tell of a falling edge; the handler runs when interrupts allow it."""
    global _pending_count, wake_us
    if not _in_handler:
        wake_us = 0
    for index in range(_pending_count):
        if _pending[index] is line:
            return
    _pending[_pending_count] = line
    _pending_count += 1


@micropython.native
def _handle():
    global _in_handler, _pending_count
    while _pending_count:
        line = _pending[0]
        _pending_count -= 1
        for index in range(_pending_count):
            _pending[index] = _pending[index + 1]
        handler = line.handler
        if handler is not None:
            _in_handler = True
            micropython.heap_lock()
            try:
                spend(3)
                handler(line.pin)
            finally:
                micropython.heap_unlock()
                _in_handler = False


@micropython.native
def disable_irq():
    global _irq_on
    before = _irq_on
    _irq_on = _unprotected
    return before


@micropython.native
def enable_irq(before):
    global _irq_on
    _irq_on = before
    if (_pending_count and not _in_handler) or now >= wake_us:
        catch_up()


def violation(text, value=None):
    """Note, once, something that no firmware may do; ``{}`` in the text stands for the value."""
    if _in_handler:
        micropython.heap_unlock()
    text = text.format(value)
    if text not in violations:
        violations.append(text)
    if _in_handler:
        micropython.heap_lock()


def is_patient():
    return not _away[0] <= now < _away[1]


@micropython.native
def waits_for_host():
    return not heard and now > 1000000 and scenario.get("wait_for_host", True)


@micropython.native
def ahead_us():
    """Return the real microseconds by which the invented time is ahead of its pace; 0 without a pace."""
    global _real_start_us
    if not _speed:
        return 0
    import time_of_host

    if _real_start_us is None:
        _real_start_us = time_of_host.ticks_us() - now // _speed
    return now // _speed - (time_of_host.ticks_us() - _real_start_us)


def keep_pace():
    """Make up for real time that has passed, so that an answer bears the time at which it is given."""
    behind_us = -ahead_us()
    if behind_us > 0:
        spend(behind_us * _speed)


def finish(why):
    report = {"ended": why, "now_us": now, "violations": violations}
    for device in _devices:
        device.report(report)
    sys.stderr.write(json.dumps(report) + "\n")
    raise SystemExit
