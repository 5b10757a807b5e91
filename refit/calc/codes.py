"""The short codes on labels: three or four characters of Crockford's base 32 and one check character.

Decides which codes are valid (ISO/IEC 7064, MOD 37-2), which may be made, and how a code is read out of
what a scanner or a person gives. Does not know which codes a boat has used.
"""

import re
from collections.abc import Callable, Container
from urllib.parse import unquote

from stdnum.iso7064 import mod_37_2

from .problems import shown

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

# How many codes of four characters may be made, as mintable_count(3) counts them; a test counts them again.
# Kept as a figure because each new label asks for it.
FOUR_CHARACTER_CODES = 28_007

LOOK_ALIKES = str.maketrans("OIL", "011")
BLANKS = re.compile(r"[\s\-\u2010-\u2015\u2212]+")
IN_ADDRESS = re.compile(r"(?:^|/)L/([^/]+)/?$", re.IGNORECASE)

# Spreadsheets read 0412 as 412, 12E4 as 120000 and 1MAR as a date.
MANGLED = re.compile(
    r"[0-9]+|[0-9]+E[0-9]+|[0-9]{1,2}(?:JAN|FEB|MAR|APR|MAY|SEP|DEC)|(?:JAN|FEB|MAR|APR|MAY|SEP|DEC)[0-9]{1,2}"
)
RUDE = re.compile(
    "ARSE|CRAP|FART|RAPE|TWAT|WANK|SHAG|SEX|DAMN|KKK|FAG|ASS"
    "|SH1T|P1SS|T1TS|D1CK|C0CK|P0RN|K1KE|SP1C|C00N|PR1C|B00B|P00P"
)


def canonical(text: str) -> str:
    """Return the code a person meant: upper case, look-alikes folded, blanks and hyphens gone.

    Raise ValueError, with a sentence for the person, if it is no code or its check character does not fit.
    """
    code = BLANKS.sub("", text)
    # Upper-casing first would turn a dotless i or a long s into plain letters that nobody typed.
    if code.isascii():
        code = code.upper().translate(LOOK_ALIKES)
    if len(code) not in (4, 5) or any(letter not in ALPHABET for letter in code):
        raise ValueError(f"{shown(text)} is not a label code; a code has four or five letters and figures.")
    if check_character(code[:-1]) != code[-1]:
        raise ValueError(
            f"{shown(text)} is not a label code; one character seems to be wrong. Read it again."
        )
    return code


def check_character(payload: str) -> str:
    """Return the check character of a payload (ISO/IEC 7064, MOD 37-2): a figure, a letter or an asterisk."""
    return str(mod_37_2.calc_check_digit(payload))


def is_mintable(code: str) -> bool:
    """Say whether a whole code may go on a label: unambiguous, safe in a spreadsheet, and not rude."""
    if len(code) not in (4, 5) or any(letter not in ALPHABET for letter in code):
        return False
    if check_character(code[:-1]) != code[-1]:
        return False
    return not MANGLED.fullmatch(code) and not RUDE.search(code)


def mintable_count(payload_length: int) -> int:
    """Count the codes that may be made with payloads of this length, by trying them all."""
    return sum(
        is_mintable(_code(number, payload_length)) for number in range(len(ALPHABET) ** payload_length)
    )


def payload_length_for(used: int) -> int:
    """Return the payload length for the next code: 3, and 4 once half of the shorter codes are used."""
    return 3 if 2 * used < FOUR_CHARACTER_CODES else 4


def mint(random_below: Callable[[int], int], taken: Container[str], payload_length: int) -> str:
    """Return a new code that is not in `taken`; `random_below(n)` gives a whole number from 0 to n - 1.

    Tries at random first and then walks on from a random start, so that the last free code is found too.
    Raise ValueError when there is none.
    """
    size: int = len(ALPHABET) ** payload_length
    for _ in range(100):
        code = _code(random_below(size), payload_length)
        if is_mintable(code) and code not in taken:
            return code
    start = random_below(size)
    for step in range(size):
        code = _code((start + step) % size, payload_length)
        if is_mintable(code) and code not in taken:
            return code
    raise ValueError(f"All label codes of {payload_length + 1} characters are used.")


def code_in(text: str) -> str | None:
    """Return the code in an address that ends in /L/<code>, whatever its host, or a typed code, or None."""
    path = re.split(r"[?#]", text.strip(), maxsplit=1)[0]
    found = IN_ADDRESS.search(path[-200:])
    try:
        return canonical(unquote(found[1]) if found else text)
    except ValueError:
        return None


def _code(number: int, payload_length: int) -> str:
    payload = ""
    for _ in range(payload_length):
        number, place = divmod(number, len(ALPHABET))
        payload = ALPHABET[place] + payload
    return payload + check_character(payload)
