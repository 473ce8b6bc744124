"""Commands as they are shown on Windows: what PowerShell hands on is what was meant, and nothing is run.

There is no PowerShell here. Its rules are followed by a reader of our own, written from about_Quoting_Rules and
about_Parsing, from what older versions hand on to programs, and from how programs part their line (Microsoft,
"Parsing C command-line arguments"); all from memory.
"""

from __future__ import annotations

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from trialkit.desk.powershell import LEGACY, powershell_line

QUOTES = "'\u2018\u2019\u201a\u201b"
SHELL_MARKS = set("&|;<>(){}@#$`\"%^!,'\u201c\u201d\u201e\u2018\u2019\u201a\u201b\n\r")


def _texts(line: str) -> list[str]:
    """Words of a line in PowerShell; nothing but bare words, texts in quotes, and sums of them is read."""
    found, at = [], 0

    def quoted(at: int) -> tuple[str, int]:
        text = ""
        while True:
            if line[at] in QUOTES:
                if line[at + 1 : at + 2] and line[at + 1] in QUOTES:
                    text, at = text + line[at], at + 2
                    continue
                return text, at + 1
            text, at = text + line[at], at + 1

    while at < len(line):
        if line[at] == " ":
            at += 1
        elif line[at] == "(":
            text, at = "", at + 1
            while line[at] != ")":
                if code := re.compile(r"\[char\](\d+)").match(line, at):
                    text, at = text + chr(int(code[1])), code.end()
                elif line[at] == "'":
                    part, at = quoted(at + 1)
                    text += part
                else:
                    assert line[at] in " +", line
                    at += 1
            found.append(text)
            at += 1
        elif line[at] == "'":
            text, at = quoted(at + 1)
            found.append(text)
        elif line[at] == '"':
            end = line.index('"', at + 1)
            text, at = line[at + 1 : end], end + 1
            assert not set(text) & (SHELL_MARKS - {","}), text
            found.append(text)
        else:
            word = re.compile(r"[^ ]+").match(line, at)
            assert word is not None
            assert not set(word[0]) & SHELL_MARKS, word[0]
            found.append(word[0])
            at = word.end()
    return found


def _handed_on(texts: list[str]) -> str:
    """The line that older versions make of words: a word with a blank outside of its own quotes is put in quotes."""
    told = []
    for text in texts:
        outside = re.sub(r'(?<!\\)"(?:\\.|[^"\\])*"', "", text, flags=re.DOTALL)
        told.append(f'"{text}"' if re.search(r"\s", outside) else text)
    return " ".join(one for one in told if one)


def _parted(line: str) -> list[str]:
    """Words of a program's line."""
    found: list[str] = []
    word, is_quoted, has_begun, at = "", False, False, 0
    while at < len(line):
        slashes = re.compile(r"\\*").match(line, at)
        assert slashes is not None
        count, at = len(slashes[0]), slashes.end()
        here = line[at : at + 1]
        if count:
            has_begun = True
        if here == '"':
            word += "\\" * (count // 2)
            if count % 2:
                word += '"'
            else:
                is_quoted = not is_quoted
            has_begun, at = True, at + 1
            continue
        word += "\\" * count
        if here in (" ", "\t") and not is_quoted:
            if has_begun:
                found.append(word)
            word, has_begun = "", False
        elif here:
            word, has_begun = word + here, True
        at += 1
    return [*found, word] if has_begun else found


WORDS = st.lists(
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)
    | st.text("ab \\\"'\u2019&|;%$`^!(),\n", max_size=12),
    min_size=1,
    max_size=4,
)


@given(WORDS)
@example(["merge", "fern", "a & calc.exe"])
@example(['factors.cultivar.levels=["Fen leaf", "B"]', "--why", ""])
@example(["x y\\\\", "--choose=all"])
@example(["\r\\"])
@example(["Mary\u2019s $(calc) `%PATH%`", "a\n& calc"])
def test_what_is_handed_on_is_what_was_meant(words: list[str]) -> None:
    """To the letter; on the line itself stands nothing that a shell obeys."""
    line = powershell_line(["trialkit", *words])
    assert "\n" not in line
    assert "\r" not in line
    if line.startswith("& { "):
        inner = line.removeprefix(f"& {{ {LEGACY}; ").removesuffix(" }")
        assert _parted(_handed_on(_texts(inner))) == ["trialkit", *words]
        return
    whole = line.removeprefix("& ")
    assert _texts(whole) == ["trialkit", *words]
    assert not any('"' in word or not word or word.endswith("\\") for word in words)


@pytest.mark.parametrize("mark", sorted(SHELL_MARKS - set(",\n\r")))
def test_the_older_shell_refuses_what_it_would_obey(mark: str) -> None:
    """A line that begins with an ampersand is none for it; in all others no mark stands."""
    assert powershell_line(["trialkit", "merge", f"a {mark} calc.exe"]).startswith("& ")
    assert not set(powershell_line(["trialkit", "merge", "fern", "Fern heads.xlsx"])) & (SHELL_MARKS - {'"'})
