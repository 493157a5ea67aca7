"""Bytes to readings and back, without any input or output of its own: framing, SenML, timestamps."""
