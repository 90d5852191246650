"""Telling people: sounder command, serial line, MQTT topic."""
