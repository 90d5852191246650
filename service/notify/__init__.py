"""Telling people: sounder command, serial line, MQTT topic, webhook, e-mail."""
