"""The best setting at each speed, the best fixed cam, and the range of travel worth building."""
