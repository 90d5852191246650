"""Where bytes come from: serial ports, the MQTT broker, log files."""
