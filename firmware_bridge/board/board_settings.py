"""What a maker edits: which converter is wired to which pins. Everything else is detected.

Pins are the numbers of the board's GPIO lines (GP2 is 2), not of its legs. After an edit copy the file to the board
again (``hang-monitor flash``) and press reset.
"""

# Which converter: "shared_clock" (one bridge converter for each cell, all on one clock line) or "simultaneous" (one
# eight-channel converter on the serial bus).
CONVERTER = "shared_clock"

# Number of cells, 1 to 8. Channel 0 is the first in the rig description, and so on.
CHANNELS = 6

# Readings per second. shared_clock: as the modules' rate pins are strapped, 10 or 80. simultaneous: the nearest that
# the converter can do is taken (about 252, 500 or 1000 with the usual 8.192 MHz clock).
RATE_Hz = 80

# From the middle of a conversion to its time stamp, in microseconds; None: the driver's own value.
READING_DELAY_us = None

# shared_clock ---------------------------------------------------------------------------------------------------------

# The clock line of all modules (often printed SCK), and one data line for each (DT or DOUT), channel 0 first.
CLK_PIN = 2
DATA_PINS = (3, 4, 5, 6, 7, 8)

# Wired to the modules' rate pins where the program is to choose 10 or 80 per second; None where it is strapped.
RATE_PIN = None

# Extra clock pulses after the 24 bits: 1 channel A with gain 128 (a load cell), 2 channel B with gain 32,
# 3 channel A with gain 64.
GAIN_PULSES = 1

# How far apart the modules' conversions may lie, in microseconds; None: one interval, since each runs on its own
# oscillator. 0 where all are clocked by one crystal and started together.
SKEW_us = None

# simultaneous ---------------------------------------------------------------------------------------------------------

SPI_BUS = 0
SCLK_PIN = 18
MOSI_PIN = 19
MISO_PIN = 16
CS_PIN = 17
DRDY_PIN = 20
RESET_PIN = 21

# The converter's own clock, and its gain (1, 2, 4 ... 128; 128 for a load cell).
CLKIN_Hz = 8_192_000
GAIN = 128

# Both -----------------------------------------------------------------------------------------------------------------

# The lamp: slow blinks, waiting for the host; steady, sending; quick blinks, a fault. None where there is no lamp.
LED_PIN = "LED"

# Restart when the program has hung for this long, in milliseconds (at most 8300); 0: never.
WATCHDOG_ms = 8000
