"""What stands between a quantity of the plant and what a converter or a pin gets to see: lag, noise, steps, faults."""
