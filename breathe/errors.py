"""The base of every error a user can put right; the command line catches it in one place.

The text of the error is the whole message the user reads: it names the file, key or row, what was
found and what is expected.
"""

from __future__ import annotations


class BreatheError(Exception):
    """Something the user can put right. Raise a subclass, or this with the full message."""


class Stopped(Exception):
    """The user stopped a command (Ctrl-C); the text says what is kept and how to go on."""
