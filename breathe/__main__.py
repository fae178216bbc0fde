"""python -m breathe."""

from __future__ import annotations

from breathe.commands.main import script

if __name__ == "__main__":
    script()
