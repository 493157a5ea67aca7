"""Where readings come in: serial lines and MQTT topics, each a thin loop that hands over packets of bytes."""
