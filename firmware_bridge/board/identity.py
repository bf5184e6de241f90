"""The board's id and start counter, stored in its file system."""

import os

import machine

BOOT_COUNT_FILE = "boot_count.txt"
QUIET_FILE = "stay_out.txt"


def board_id():
    """Return the board's unique 8-byte id."""
    return (bytes(machine.unique_id()) + bytes(8))[:8]


def next_boot_count():
    """Count this start and return the number; a random one if nothing can be written, so that it is new."""
    try:
        with open(BOOT_COUNT_FILE) as file:
            count = int(file.read())
    except OSError:
        count = 0
    except ValueError:
        # Torn by a power loss during the write: choose a number that no earlier start can have had.
        count = int.from_bytes(os.urandom(4), "little")
    count = (count + 1) & 0xFFFFFFFF
    try:
        with open(BOOT_COUNT_FILE, "w") as file:
            file.write(str(count))
    except OSError:
        count = int.from_bytes(os.urandom(4), "little")
    return count


def leave():
    """Restart into the prompt, without the watchdog, which would reset the board there after some seconds."""
    with open(QUIET_FILE, "w") as file:
        file.write("1")
    machine.reset()


def is_to_keep_out():
    """Return, once, whether the last start ended with ``leave``."""
    try:
        os.remove(QUIET_FILE)
    except OSError:
        return False
    return True
