"""The worked story, checked."""

from __future__ import annotations

import pytest

from breathe.engine.read import read_engine
from breathe.study.checks.check import Check, check
from tests.story_engine import write_story


@pytest.fixture(scope="session")
def story(tmp_path_factory) -> Check:
    return check(read_engine(write_story(tmp_path_factory.mktemp("story"))))
