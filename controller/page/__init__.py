"""The web server for the phone: a process of its own, a client of the broker, which decides nothing.

The phone gets a first snapshot inside the HTML, then Server-Sent Events; history, incidents, commands and the logbook
are JSON requests described by an OpenAPI document. Broker credentials and the signing key never leave this process.
"""
