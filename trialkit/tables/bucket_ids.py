r"""Short bucket identities whose last character exposes a misread label.

The check is a weighted sum modulo a prime, the idea behind ISO/IEC 7064 (recalled from memory, not a conforming
system of that standard): with payload and check characters :math:`a_n … a_2 a_1`, an identity is valid when
:math:`\sum_i i\,a_i \equiv 0 \pmod{19}`. The weights 1, 2, …, n are distinct and non-zero modulo 19, so one
wrong character or one swap of two characters always changes the sum.

Identities numbered through a trial have four characters and occur in other trials too. Those of a garden begin with
five characters that are derived from trial and garden, and end with the bucket's number there: of a hundred gardens of
a season two begin alike in one season of five hundred, which is looked for and told.
"""

import hashlib
from collections.abc import Iterable

from trialkit.tables.nearest import nearest_name

# Nineteen characters, a prime. Left out: vowels (no words arise) and what is misread for another on a wet label:
# 0 O Q, 1 I L, 2 Z, 5 S, 6 G, 8 B, U V. Of the pair 6 and G the figure is kept.
ALPHABET = "34679CDFHJKMNPRTWXY"
MODULUS = len(ALPHABET)
PAYLOAD_LENGTH = 3
GARDEN_LENGTH = 5
PLACE_LENGTHS = (1, 2, 3)
"""Characters for the number of a bucket in its garden, the fewest that the garden's buckets need."""
LENGTHS = frozenset((PAYLOAD_LENGTH + 1, *(GARDEN_LENGTH + length + 1 for length in PLACE_LENGTHS)))
BETWEEN = "/"
LARGEST_NUMBER = MODULUS**PAYLOAD_LENGTH - 1
# What a reader may have taken a character of the alphabet for, and the character it was.
LOOK_ALIKES = str.maketrans({"G": "6", "V": "Y", "U": "W", "O": "D", "Q": "D", "0": "D", "S": "3", "1": "7"})


def _weighted_sum(values: Iterable[int], first_weight: int) -> int:
    return sum(weight * value for weight, value in enumerate(values, start=first_weight)) % MODULUS


def make_bucket_id(number: int) -> str:
    """Return the identity of the bucket with this running number, 0 to 6858: four characters, the last the check.

    Raises
    ------
    ValueError
        If the number is out of range.

    Examples
    --------
    >>> make_bucket_id(1)
    '334X'
    """
    if not 0 <= number <= LARGEST_NUMBER:
        raise ValueError(f"Bucket numbers run from 0 to {LARGEST_NUMBER}; {number} was asked for.")
    return _with_check(number, PAYLOAD_LENGTH)


def garden_bucket_ids(garden: str, count: int) -> list[str]:
    """Return the identities of so many buckets of a garden, seven characters each (eight from 19 buckets on).

    They follow from what identifies the garden among those of all trials, and from nothing else.

    Raises
    ------
    ValueError
        If there are more buckets than identities.

    Examples
    --------
    >>> garden_bucket_ids("20260820 autumn-dose FERN", 3)
    ['TXC634C', 'TXC6367', 'TXC6374']
    """
    length = next((length for length in PLACE_LENGTHS if count < MODULUS**length), None)
    if length is None:
        raise ValueError(f"A garden has at most {MODULUS ** PLACE_LENGTHS[-1] - 1} buckets; {count} were asked for.")
    digest = int.from_bytes(hashlib.sha256(garden.encode("utf-8")).digest())
    first = digest % MODULUS**GARDEN_LENGTH * MODULUS**length
    return [_with_check(first + place, GARDEN_LENGTH + length) for place in range(1, count + 1)]


def _with_check(number: int, length: int) -> str:
    """Write a number in so many characters, and the check behind it."""
    digits = [number // MODULUS**power % MODULUS for power in range(length)]
    check = -_weighted_sum(digits, first_weight=2) % MODULUS
    return "".join(ALPHABET[digit] for digit in [*reversed(digits), check])


def label_code(trial: str, site: str, bucket: str) -> str:
    """Return what the code on a bucket's label says: identities repeat from trial to trial, and so it names all three.

    Examples
    --------
    >>> label_code("autumn-dose", "FERN", "334X")
    'autumn-dose/FERN/334X'
    """
    return BETWEEN.join((trial, site, bucket))


def read_label_code(text: str) -> tuple[str, str, str] | None:
    """Return trial, garden and bucket of a scanned label; None where the text is no such code.

    Examples
    --------
    >>> read_label_code("autumn-dose/FERN/334X"), read_label_code("334X")
    (('autumn-dose', 'FERN', '334X'), None)
    """
    parts = [part.strip() for part in text.split(BETWEEN)]
    return (parts[0], parts[1], parts[2]) if len(parts) == 3 and all(parts) else None


def bucket_id_is_valid(text: str) -> bool:
    """Tell whether a text is an identity with its check, of either sort.

    Examples
    --------
    >>> bucket_id_is_valid("334X"), bucket_id_is_valid("334Y"), bucket_id_is_valid("343X")
    (True, False, False)
    """
    if len(text) not in LENGTHS or any(character not in ALPHABET for character in text):
        return False
    return _weighted_sum([ALPHABET.index(character) for character in reversed(text)], first_weight=1) == 0


def nearest_bucket_id(text: str, known: Iterable[str]) -> str | None:
    """Return the known identity that a misread text most likely stands for, or None.

    Upper-casing and undoing common misreadings come first, then one wrong character or one swap of neighbours.

    Examples
    --------
    >>> nearest_bucket_id("334x", ["334X", "336T"])
    '334X'
    >>> nearest_bucket_id("33GT", ["334X", "336T"])
    '336T'
    """
    identities = sorted(set(known))
    folded = text.strip().upper()
    for candidate in (folded, folded.translate(LOOK_ALIKES)):
        if candidate in identities:
            return candidate
    one_slip = [identity for identity in identities if _one_slip_apart(folded, identity)]
    return one_slip[0] if one_slip else nearest_name(folded, identities)


def _one_slip_apart(text: str, identity: str) -> bool:
    if len(text) != len(identity):
        return False
    wrong = [place for place, (read, true) in enumerate(zip(text, identity, strict=True)) if read != true]
    if len(wrong) == 2 and wrong[1] == wrong[0] + 1:
        first, second = wrong
        return text[first] == identity[second] and text[second] == identity[first]
    return len(wrong) == 1
