"""The first call of a kernel compiles it, so a time limit per example says nothing."""

from hypothesis import settings

settings.register_profile("compiled", deadline=None)
settings.load_profile("compiled")
