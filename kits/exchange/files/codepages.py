"""Which of the one-byte character sets a text was written in, told by the letters that each of them yields.

The same bytes are letters of one language in one set and scattered signs in another. A set is the likelier the more of
its words are spelled with the letters of one or two languages, with capitals and signs where they belong.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

CHARSETS: Mapping[str, str] = {
    "cp1252": "Windows western",
    "cp1250": "Windows central European",
    "mac_roman": "Macintosh western",
    "iso8859_2": "ISO Latin 2",
    "cp850": "DOS western",
    "cp852": "DOS central European",
    "cp1251": "Windows Cyrillic",
    "cp1253": "Windows Greek",
    "cp1254": "Windows Turkish",
    "cp1257": "Windows Baltic",
}
"""What can be chosen; the first three are told apart."""

_TOLD_APART = ("cp1252", "cp1250", "mac_roman")
_MOST_LINES = 5000
_MOST_WORDS = 5000
_MOST_SAMPLES = 5
_LONGEST_SAMPLE = 80

# The letters beyond a to z in which languages are written, from memory.
_ALPHABETS = {
    "cp1252": (
        "äöüß", "àâæçéèêëîïôœùûüÿ", "áéíñóúü", "àèéìòù", "ãõáâàçéêíóôú", "æøåé", "åäöé", "ëïéèüö", "áðéíóúýþæö",
    ),
    "cp1250": (
        "äöüß", "áčďéěíňóřšťúůýž", "áäčďéíĺľňóôŕšťúýž", "ąćęłńóśźż", "áéíóöőúüű", "ăâîşţ", "čćđšž",
    ),
}  # fmt: skip
_ALPHABETS["mac_roman"] = _ALPHABETS["cp1252"]
_WORD = re.compile(r"[^\W\d_]+")
_ALONE = frozenset("àáåéíóöú")
"""Letters that are words by themselves."""
_USUAL = re.compile(
    r"(?<!\w)[øØ]\s?\d|(?<=\d)\s?[°€£]|[€£]\s?\d|\b[cmdk]?m[²³]\b|\b[nN]º|\bµ[a-zA-ZΩ]\b|[±×–—“”„’…•®™½¼¾]"
)
"""Signs of the trade, each where it belongs."""
_STRANGE = re.compile(r"[^\W\d_]?[^\x00-\x7f\w\s][^\W\d_]?|[²³¹]\w?")
"""Any other sign, with the letters beside it."""


@dataclass(frozen=True, slots=True)
class TextReading:
    """How a text that is not Unicode was read: the set, those that would give other letters as likely, and samples.

    ``samples`` gives, for each set that can read the text at all, its first words with letters beyond a to z.
    """

    file: str
    charset: str
    alike: tuple[str, ...]
    samples: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def sets(self) -> tuple[tuple[str, str], ...]:
        """The sets that can be chosen, each with its name in words."""
        return tuple((name, CHARSETS[name]) for name, _ in self.samples)

    @property
    def says(self) -> str:
        """The set in words."""
        return f"{CHARSETS[self.charset]} text ({self.charset})"


def read_bytes(content: bytes, file: str, chosen: str = "") -> tuple[str, TextReading]:
    """The text in the likeliest set, or in the one that somebody chose; one of the sets reads every byte."""
    telling = b"\n".join([line for line in content.splitlines() if not line.isascii()][:_MOST_LINES])
    texts = {name: text for name in CHARSETS if (text := _decoded(content, telling, name)) is not None}
    points = {name: _points(texts[name], _ALPHABETS[name]) for name in _TOLD_APART if name in texts}
    ranked = sorted(points, key=lambda name: -points[name])  # stable: among equals the first of those told apart
    charset = chosen if chosen in texts else ranked[0]
    rivals = [name for name in ranked if points[name] == points[ranked[0]] and texts[name] != texts[ranked[0]]]
    rivals = [] if chosen in texts else rivals
    places = _places(texts[charset])
    samples = tuple((name, tuple(text[start:end].strip() for start, end in places)) for name, text in texts.items())
    return content.decode(charset), TextReading(file, charset, tuple(rivals), samples)


def _decoded(content: bytes, telling: bytes, charset: str) -> str | None:
    """The telling lines in one set; None where the set cannot read the whole text."""
    try:
        content.decode(charset)
        text = telling.decode(charset)
    except UnicodeDecodeError:
        return None
    # Signs that only steer a terminal are in no list: a set that yields them is not the one.
    return None if any("\x80" <= mark <= "\x9f" for mark in set(text)) else text


def _points(text: str, alphabets: Iterable[str]) -> int:
    """How much speaks for a set: words spelled as in one or two languages, less what stands where nothing such does."""
    usual = {found[0].strip() for found in _USUAL.finditer(text)}
    rest = _USUAL.sub(" ", text)
    words = list(
        itertools.islice(dict.fromkeys(word for word in _WORD.findall(rest) if not word.isascii()), _MOST_WORDS)
    )
    spelled = [{word for word in words if _is_spelled(word, own)} for own in alphabets]
    best = max((len(one | other) - (one != other) for one in spelled for other in spelled), default=0)
    strange = {found[0] for found in _STRANGE.finditer(rest)}
    return 2 * best - len(words) + len(usual) - len(strange)


def _is_spelled(word: str, alphabet: str) -> bool:
    """Whether a word may be of a language: its letters, with no capital after a small one."""
    if any(before.islower() and after.isupper() and not after.isascii() for before, after in itertools.pairwise(word)):
        return False
    if len(word) == 1 and word not in _ALONE:
        return False
    return all(letter.isascii() or letter in alphabet for letter in word.lower())


def _places(text: str) -> list[tuple[int, int]]:
    """Where the first pieces stand that hold a letter or sign beyond ASCII: every set has one character a byte."""
    found: list[tuple[int, int]] = []
    for piece in re.finditer(r"[^,;\t|\r\n\"]*[^\x00-\x7f][^,;\t|\r\n\"]*", text):
        found.append((piece.start(), min(piece.end(), piece.start() + _LONGEST_SAMPLE)))
        if len(found) == _MOST_SAMPLES:
            break
    return found
