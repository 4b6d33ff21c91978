"""Interlock sequence verifier and state-machine simulator."""

__version__ = "0.1.0"
