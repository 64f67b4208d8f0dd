"""What would be right where a rig file is not TOML: the slips of a hand, told by the look of the line.

The parser says where it gave up, in its own words; a person who wrote a comma for a dot needs to be told that.
"""

from __future__ import annotations

import re

_TEXT = re.compile(r'"[^"]*"|\'[^\']*\'')
_TWICE = re.compile(r"Cannot (declare|overwrite|mutate)|already|twice", re.IGNORECASE)
_SLIPS: tuple[tuple[re.Pattern[str], str], ...] = (  # the first that fits what is left of the line without its texts
    (re.compile("[\u201c\u201d\u201e\u2018\u2019]"), 'Use the plain quotation mark " on both sides of a text.'),
    (re.compile("[\"']"), 'A quotation mark is missing: a text has one on each side, "like this".'),
    (re.compile(r"=[^,={]*\s[A-Za-z_]\w*\s*="), "Put a comma between one name = value and the next."),
    (re.compile(r"=\s*[-+]?\d+,\d"), "Write a decimal dot, not a comma: 0.5."),
    (re.compile(r"=\s*(True|TRUE|False|FALSE|(?i:yes|no|on|off))\b"), "Write true or false, in small letters."),
    (
        re.compile(r"=\s*[-+]?(?!0[xob])\d[\d.]*\s*[A-Za-z%\u00b0\u00b5]"),
        "Write the number alone: its unit is the end of the key's name, as in rated_A = 30.",
    ),
    (re.compile(r"=\s*(?!true\b|false\b)[A-Za-z]"), 'Put a text between quotation marks, "like this".'),
    (re.compile(r"=\s*([-+]?\.\d|[-+]?\d+\.(\D|$))"), "Write a digit on both sides of the dot: 0.5, 5.0."),
    (re.compile(r"^\s*\[[^\]]*$"), "The name of a table stands between [ and ]."),
    (re.compile(r"^[^=]*:"), "Write = between a name and its value."),
    (re.compile(r"=\s*([,}]|$)"), "Give a value behind the = sign."),
    (re.compile(r"\{[^}]*$"), "What { begins ends with } on the same line."),
)
ELSE = 'Write name = value: texts between " marks, decimals with a dot, commas between what stands in { }.'


def would_be_right(text: str, line: int, complaint: str) -> str:
    """line: where the parser gave up, from 1; where that line has no slip to see, the one before it may have."""
    if _TWICE.search(complaint):
        return "It stands further up already: keep one of them, with all that belongs there."
    lines = text.split("\n")
    for number in (line, line - 1):
        if 1 <= number <= len(lines):
            bare = _TEXT.sub("0", lines[number - 1]).split("#", 1)[0].rstrip()
            for looks, right in _SLIPS:
                if looks.search(bare):
                    return right
    return ELSE
