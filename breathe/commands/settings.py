"""Which cam settings a command line asks for."""

from __future__ import annotations

from breathe.engine.parts import Engine, Setting
from breathe.errors import BreatheError
from breathe.study.choose import labels, setting_named


def chosen(
    engine: Engine, text: str | None, against: str | None = None
) -> tuple[tuple[Setting, ...], list[str]]:
    """Settings by label, in the order typed, with those the others are compared with.

    Parameters
    ----------
    engine : Engine
    text : str or None
        Labels between commas, the degree sign left out or not, or further intake durations within
        the sleeve's travel; None takes all of the file.
    against : str, optional
        One more, the reference of the differences; the standard is always among them.

    Returns
    -------
    tuple of Setting
    list of str
        What to tell the user: settings merged or added.

    Raises
    ------
    BreatheError
        A label the engine has not, with the nearest.
    """
    found: list[Setting] = []
    told = []
    if text is None:
        found += engine.settings
    for part in (part.strip() for part in (text or "").split(",")):
        if not part:
            continue
        setting = setting_named(engine, part, "--settings")
        if setting in found:
            told.append(f"Setting {setting.label} was named twice and is taken once.")
        else:
            found.append(setting)
    if not found:
        raise BreatheError(f"--settings: found nothing; expected some of: {labels(engine)}")
    if against is not None:
        reference = setting_named(engine, against, "--against")
        if reference not in found:
            found.append(reference)
            told.append(f"{reference.label} is added to compare with.")
    if all(setting.label != engine.standard for setting in found):
        found.append(setting_named(engine, engine.standard))
        told.append(f"The standard, {engine.standard}, is added to compare with.")
    return tuple(found), told
