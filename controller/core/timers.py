"""The one timer: it fills while a condition holds and empties at the same rate while it does not.

A timer that starts anew at every clear sample never trips on a float that is low for most of the time. This one does,
as soon as the condition holds for more than half of the time for long enough.
"""

from __future__ import annotations

# A day of tenths of a second must not add up to one scan too many: three tenths thirty times over are nine seconds.
ROUNDING_S = 1e-9


def fill(filled_s: float, dt_s: float, share: float, delay_s: float) -> float:
    """Seconds the timer holds after `dt_s` of which the condition held the part `share` (0 to 1); 0 to `delay_s`.

    >>> fill(0.5, 0.1, share=1.0, delay_s=1.0)
    0.6
    >>> fill(0.5, 0.1, share=0.0, delay_s=1.0)
    0.4
    """
    filled_s += dt_s * (2.0 * share - 1.0)
    if filled_s <= 0.0:
        return 0.0
    return filled_s if filled_s < delay_s - ROUNDING_S else delay_s
