"""What a search found, as plain tables: kept with a run, printed without the engine."""

from __future__ import annotations

import json
import math
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, TypeVar

import pandas as pd

from breathe.errors import BreatheError

Answer = TypeVar("Answer", bound="Kept")


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisNote:
    """One thing that moves, as a page names it; all in crank degrees."""

    side: str
    kind: str
    """'dwell' is duration added by a sleeve, 'phase' a phaser's turn, negative earlier."""
    low_deg: float
    high_deg: float
    deg_per_m: float = 0.0
    """Added crank degrees per metre of sleeve travel; 0 where there is none, or it is not known."""
    rest_deg: float | None = None
    """Duration at 0, as the engine file counts it."""

    @property
    def name(self) -> str:
        return f"{self.side} {self.kind}"

    @property
    def column(self) -> str:
        return f"{self.side}_{self.kind}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept(ABC):
    """An answer that goes to a text and comes back."""

    @abstractmethod
    def main_table(self) -> pd.DataFrame:
        """What goes to a CSV file."""

    def to_json(self) -> str:
        plain: dict[str, Any] = {}
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, pd.DataFrame):
                value = [
                    {k: _finite(v) for k, v in row.items()} for row in value.to_dict("records")
                ]
            elif field.name == "axes":
                value = [{f.name: getattr(axis, f.name) for f in fields(axis)} for axis in value]
            plain[field.name] = value
        return json.dumps(plain, indent=1, ensure_ascii=False)

    @classmethod
    def from_json(cls: type[Answer], text: str) -> Answer:
        """The answer as it was written.

        Raises
        ------
        BreatheError
            The text is no such answer.
        """
        try:
            return cls(**cls._parts(json.loads(text)))
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise BreatheError(
                "answer.json: damaged, or written by another version of breathe; delete the run's "
                "folder and give the command again"
            ) from error

    @classmethod
    def _parts(cls, found: Mapping[str, Any]) -> dict[str, Any]:
        parts: dict[str, Any] = {}
        for field in fields(cls):
            value = found[field.name]
            if "DataFrame" in str(field.type):
                parts[field.name] = _table(value)
            elif field.name == "axes":
                parts[field.name] = tuple(AxisNote(**axis) for axis in value)
            else:
                parts[field.name] = tuple(value) if isinstance(value, list) else value
        return parts


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    table = pd.DataFrame(rows)
    empty = [column for column in table if table[column].isna().all()]
    return table.astype({column: float for column in empty})


@dataclass(frozen=True, slots=True, kw_only=True)
class Best(Kept):
    """The best setting at each speed, the best fixed cam, and what one gains over the other.

    SI; places in crank degrees along each axis; units in the column names.
    """

    axes: tuple[AxisNote, ...]
    """Empty where nothing moves: then the file's settings are ranked."""
    standard: str
    weights: str
    """As the user put them; empty where every speed counts the same."""
    fixed_place_deg: tuple[float, ...]
    """Of the best fixed cam, along each axis."""
    by_speed: pd.DataFrame
    """One row a speed: weight; torque of the best setting, of the best fixed cam and of the
    standard one; place along each axis and the stretch round it that ties."""
    cams: pd.DataFrame
    """One row a cam: means, peak power, and what the variable one gains over it."""
    steps: pd.DataFrame
    """One row a stretch of speeds with one place, for two and three fixed places."""
    price: pd.DataFrame
    """Share of torque that changes by standing off the best place, by speed and axis."""
    tops: pd.DataFrame
    """Further places, apart from the best, that tie with it at a speed."""
    turned: pd.DataFrame
    """The best fixed cam and the variable one degreed in elsewhere, as `turned.turned` gives them;
    empty where that was not asked."""
    clearing: pd.DataFrame
    """The variable cam and the best fixed one held to places that clear, as `clearing.clearing`
    gives them; empty where all places clear or that is not known."""
    fixed_does_not_clear: str = ""
    """The gap of the best fixed cam that fails, in words; `by_speed` has those of the others."""
    unknown_clearances: tuple[str, ...] | None = None
    """What of the clearances could not be checked; None where none could."""
    notices: tuple[str, ...] = ()
    left_out_rpm: tuple[float, ...] = ()
    """Speeds without enough figures."""
    settings_in_file: int = 0

    @property
    def speeds(self) -> int:
        return len(self.by_speed)

    def main_table(self) -> pd.DataFrame:
        return self.by_speed


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach(Kept):
    """What range of travel brings, for each axis.

    SI; ranges and places in crank degrees; units in the column names.
    """

    axes: tuple[AxisNote, ...]
    """As asked about: as long as the longest range."""
    built_deg: tuple[float, ...]
    """Range that the engine file gives each axis; 0 where it has none."""
    weights: str
    by_range: pd.DataFrame
    """One row an axis and range: its best place, weighted mean torque, gain over no range, what the
    last 12 degrees and millimetres added, and whether it fits along the shaft."""
    by_axis: pd.DataFrame
    """One row an axis: gain of the longest range, the range past which each 12 degrees brings less
    than the model can tell (nan if there is none), the range that gets nearly all, the number of
    speeds at which no dwell is best, and the room."""
    speeds_rpm: tuple[float, ...]
    held: str
    """Point of the opening that the intake sleeve was asked to keep; empty where the file's is."""
    unknown_clearances: tuple[str, ...] | None = None
    notices: tuple[str, ...] = ()
    left_out_rpm: tuple[float, ...] = ()

    def main_table(self) -> pd.DataFrame:
        return self.by_range
