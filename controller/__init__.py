"""What runs on the Pi: from a reading to the contactor, and from there to the people who watch."""
