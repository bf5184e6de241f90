"""Converters that the firmware can read; a new one is its driver's module and a line here."""

DRIVERS = {  # module, which is the name in the settings: class
    "shared_clock": "SharedClock",
    "simultaneous": "Simultaneous",
}


def build(settings):
    """Return the converter that the settings name; only its driver is loaded, because memory is short."""
    if not 1 <= settings.CHANNELS <= 8:
        raise ValueError("board_settings.py: CHANNELS has to be 1 to 8")
    if settings.CONVERTER not in DRIVERS:
        known = ", ".join(sorted(DRIVERS))
        raise ValueError("board_settings.py: CONVERTER has to be one of " + known)
    driver = getattr(__import__(settings.CONVERTER), DRIVERS[settings.CONVERTER])
    converter = driver(settings)
    if settings.READING_DELAY_us is not None:
        converter.delay_us = settings.READING_DELAY_us
    return converter
