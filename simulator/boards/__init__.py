"""The electronics below the drivers: converters, pins, 1-Wire files, contactors, the watchdog relay, and the bench
that joins them to a plant. Everything is advanced by time given, so that a seed decides every byte."""
