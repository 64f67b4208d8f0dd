"""Why a connection failed, in words, and how long to wait before the next one."""

from __future__ import annotations

import socket
import ssl
import time

FIRST_S = 1.0
MOST_S = 20.0
TAKEN_OVER_S = 30.0  # two clients of one name would otherwise throw each other out for ever

# Verification codes of OpenSSL, x509_vfy.h.
_NOT_YET_VALID, _EXPIRED, _OTHER_NAME = 9, 10, 62
_UNKNOWN_AUTHORITY = frozenset({2, 18, 19, 20, 21})


def pause_s(failures: int, taken_over: bool, drawn: float) -> float:
    """Seconds to wait after so many failures in a row; drawn: 0 to 1, so that many rigs do not come back as one.

    >>> [pause_s(n, False, 0.5) for n in range(6)]
    [1.0, 2.0, 4.0, 8.0, 16.0, 20.0]
    """
    usual_s = TAKEN_OVER_S if taken_over else min(MOST_S, FIRST_S * 2.0 ** min(failures, 10))
    return usual_s * (0.5 + drawn)


def in_words(error: Exception, host: str, port: int, now_s: float | None = None) -> str:
    """What a person would look at first. now_s: Unix time, for what this machine's clock says."""
    where = f"{host} port {port}"
    if isinstance(error, ssl.SSLCertVerificationError):
        clock = time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(now_s))
        code = error.verify_code
        if code == _NOT_YET_VALID:
            return f"the certificate of {where} is not valid yet; this machine's clock says {clock}: is it right?"
        if code == _EXPIRED:
            return f"the certificate of {where} has expired; this machine's clock says {clock}: is it right?"
        if code == _OTHER_NAME:
            return f"the certificate of {where} is for another name; give the host as the certificate has it"
        if code in _UNKNOWN_AUTHORITY:
            return f"the certificate of {where} is not signed by the authority that was given"
        return f"the certificate of {where} cannot be trusted: {error.verify_message}"
    if isinstance(error, ssl.SSLError):
        return f"no TLS with {where}: {getattr(error, 'reason', '') or error}; is that its TLS port?"
    if isinstance(error, socket.gaierror):
        return f"the name {host} is not known: {error.strerror}; is the network up, is it spelled so?"
    if isinstance(error, ConnectionRefusedError):
        return f"nobody listens at {where}: is the broker running?"
    if isinstance(error, TimeoutError):
        return f"{where} does not answer: is it on, is a firewall between?"
    return f"{where} cannot be reached: {error}"
