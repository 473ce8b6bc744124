"""How easily a Spanish text is read: the perspicuity of Szigriszt-Pazos on the INFLESZ scale.

F. Szigriszt Pazos, Sistemas predictivos de legibilidad del mensaje escrito: fórmula de perspicuidad, Madrid 1993:
206.835 - 62.3 syllables a word - words a sentence. I. M. Barrio-Cantalejo et al., Validación de la Escala INFLESZ para
evaluar la legibilidad de los textos dirigidos a pacientes, Anales del Sistema Sanitario de Navarra 31 (2008): under
40 very difficult, to 55 somewhat difficult, to 65 normal, to 80 quite easy, above that very easy.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

NORMAL, QUITE_EASY, VERY_EASY = 55.0, 65.0, 80.0
"""Where these begin on the INFLESZ scale."""
WORD = re.compile(r"[^\W\d_]+")
NUCLEI = re.compile(r"[iuü]?[aeoáéó][iuy]?(?![aeoáéó])|[iuü]?[aeoáéó]|[íú]|[iuü]+y?(?![aeoáéó])|y(?![aeiouáéíóú])")
"""What a syllable is spoken on: an open vowel with the close ones beside it, or close ones that stand alone."""
SILENT = re.compile(r"(?<=[qg])u(?=[eiéí])|h")


def syllables(word: str) -> int:
    """Count the syllables of a word, by the rules of Spanish spelling: two open vowels never share one.

    Examples
    --------
    >>> [syllables(word) for word in ("balde", "línea", "agua", "país", "siguiente", "cuidado", "muy")]
    [2, 3, 2, 2, 3, 3, 1]
    """
    return max(len(NUCLEI.findall(SILENT.sub("", word.lower()))), 1)


def perspicuity(sentences: Iterable[str]) -> float:
    """Perspicuity of a text by Szigriszt-Pazos; what has no letters is no sentence, and figures are no words."""
    told = [words for sentence in sentences if (words := WORD.findall(sentence))]
    words = sum(map(len, told))
    spoken = sum(syllables(word) for sentence in told for word in sentence)
    return 206.835 - 62.3 * spoken / words - words / len(told)
