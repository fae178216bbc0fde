"""A cam card as people type it: "20-60 / 60-20 @ 0.015 in lash, lobe lift 0.247 in, rocker 1.46".

Four events in the order IVO, IVC, EVO, EVC, before and after the dead centres as usual, then what
else the card says. It is taken to say it of both cams.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

EXAMPLE = "20-60 / 60-20 @ 0.015 in lash"

_EVENTS = ("intake.cam.opens", "intake.cam.closes", "exhaust.cam.opens", "exhaust.cam.closes")
_POINTS = ("BTDC", "ABDC", "BBDC", "ATDC")
_OTHER_WAY = {"B": "A", "A": "B"}
_ANGLE = r"(?:(?:IVO|IVC|EVO|EVC)\s*)?([+-]?\d+(?:[.,]\d+)?)\s*(?:°|deg\b)?\s*([BA][TB]DC)?"
_BETWEEN = r"(?:\s*[-/;|,]\s*|\s+)"
_CARD = re.compile(rf"\s*{_BETWEEN.join([_ANGLE] * 4)}(?P<rest>.*)", re.IGNORECASE)
_NUMBER = re.compile(
    r"(?P<number>\d*[.,]?\d+)\s*(?P<unit>mm|inch(?:es)?|in\b|\"|''|thou\b)?", re.IGNORECASE
)
_INCH = frozenset({"in", "inch", "inches", '"', "''"})
_BELOW_IS_INCH = {"lobe_lift": 1.0, "lift": 1.0}
_FROM_IS_MM = {"lobe_lift": 2.0, "lift": 2.0}
"""Without a unit a lift below 1 is inches and one from 2 millimetres; a checking height or a lash
below 0.06 is inches and one from 0.1 millimetres (common practice, no source)."""


class CardTextError(ValueError):
    """A card that cannot be read; the text says what was found and what is expected."""


@dataclass(frozen=True, slots=True)
class CardText:
    """What a typed card says, as values of an engine file."""

    events: Mapping[str, str]
    """``intake.cam.opens`` and the three others -> "20 BTDC"."""
    figures: Mapping[str, str]
    """``checking_height``, ``lash``, ``lift``, ``lobe_lift``, ``rocker_ratio``, of both cams."""
    guessed: Mapping[str, str]
    """Key of a figure typed without a unit -> the unit taken."""


def read_card_text(text: str) -> CardText:
    """What a card says.

    Raises
    ------
    CardTextError
        With what was found and what is expected.

    Examples
    --------
    >>> card = read_card_text("-4-36/44--4 @ 0.050")
    >>> card.events["intake.cam.opens"], card.figures
    ('4 ATDC', {'checking_height': '0.050 in'})
    """
    plain = re.sub("[\u2010-\u2015\u2212]", "-", text).replace("\u00a0", " ")
    match = _CARD.fullmatch(" ".join(plain.split()))
    if match is None:
        raise CardTextError(
            f'found "{text}"; expected IVO-IVC / EVO-EVC such as "{EXAMPLE}", each before TDC, '
            "after BDC, before BDC, after TDC"
        )
    found = [match.group(n) for n in range(1, 9)]
    events = {
        key: _event(found[2 * n], found[2 * n + 1], _POINTS[n], text)
        for n, key in enumerate(_EVENTS)
    }
    figures: dict[str, str] = {}
    guessed: dict[str, str] = {}
    # A comma before a digit is a decimal mark.
    rest = re.sub(r"@|\bat\b", ",@", match["rest"], flags=re.IGNORECASE)
    for piece in re.split(r"[,;](?!\d)", rest):
        if piece.strip(" @-/"):
            key, value, taken = _figure(piece.strip(), text)
            if key in figures:
                raise CardTextError(f'found "{text}" with two figures for {_spoken(key)}')
            figures[key] = value
            if taken:
                guessed[key] = taken
    return CardText(events, figures, guessed)


def _event(number: str, word: str | None, usual: str, text: str) -> str:
    value = float(number.replace(",", "."))
    point = (word or usual).upper()
    if point[1:] != usual[1:]:
        raise CardTextError(f'found "{text}"; expected {" - ".join(_POINTS)} in this order')
    if value == 0:
        return point[1:]
    if value < 0:
        point = _OTHER_WAY[point[0]] + point[1:]
    return f"{abs(value):g} {point}"


def _figure(piece: str, text: str) -> tuple[str, str, str]:
    """Key, value with its unit, and the unit if it was not typed."""
    if re.search(r"\b(?:zero|no|nil)\s+(?:lash|clearance)", piece, re.IGNORECASE):
        return "lash", "0 mm", ""
    match = _NUMBER.search(piece)
    key = _key(piece)
    if match is None or not key or len(_NUMBER.findall(piece)) > 1:
        raise CardTextError(
            f'found "{piece.lstrip("@ ")}" in "{text}"; expected such as "@ 0.050 in" (checking '
            'height), "0.015 in lash", "lobe lift 0.247 in", "rocker 1.46"'
        )
    number = match["number"].replace(",", ".")
    number = f"0{number}" if number.startswith(".") else number
    if key == "rocker_ratio":
        return key, number, ""
    typed = (match["unit"] or "").lower()
    unit = "in" if typed in _INCH else typed
    taken = "" if unit else _unit(key, float(number), text)
    return key, f"{number} {unit or taken}", taken


def _key(piece: str) -> str:
    """Which figure a piece of a card is about."""
    words = piece.lower()
    for key, known in (
        ("lash", ("lash", "clearance")),
        ("rocker_ratio", ("rocker", "ratio")),
        ("lobe_lift", ("lobe", "cam lift")),
        ("checking_height", ("check", "@")),
        ("lift", ("lift",)),
    ):
        if any(word in words for word in known):
            return key
    return ""


def _unit(key: str, number: float, text: str) -> str:
    if number < _BELOW_IS_INCH.get(key, 0.06):
        return "in"
    if number >= _FROM_IS_MM.get(key, 0.1):
        return "mm"
    raise CardTextError(f'found "{text}"; {number:g} of the {_spoken(key)}: mm or in? Write it too')


def _spoken(key: str) -> str:
    return key.replace("_", " ")
