"""From the guard to everybody else: telemetry over MQTT, commands the other way, and the record's keeper."""
