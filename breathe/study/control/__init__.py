"""Maps over speed and load for one actuator, for several together, or for a cam of steps."""
