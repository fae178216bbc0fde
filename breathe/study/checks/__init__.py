"""Whether it can be built: what touches, what the springs hold, what fits; simulates nothing."""
