"""The version, alone, so that a command line can print it without loading anything else."""

VERSION = "0.1.0"
