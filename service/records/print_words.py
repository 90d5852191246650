"""Words of a printed record: figures as sentences a customer or inspector can read."""

from __future__ import annotations

from collections.abc import Iterable

from service.records.heat_record import CalibrationState, ChannelRecord, HeatRecord, Soak

UNITS = {"Cel": "°C", "l/min": "l/min", "ppm": "ppm", "Pa": "Pa", "A": "A", "on/off": "on/off"}

CAUTIONS = (
    "This record shows what the sensors read and what people said. It does not say that a weld is "
    "sound: only inspection by qualified people under the applicable code can.",
    "Temperatures are those at the probes. Elsewhere the part may have been hotter or colder.",
    "Oxygen is that at the sensor; without a sensor it is estimated from flow and proves nothing.",
    "Local codes, the qualified procedure and the maker's data come before anything printed here.",
)


def duration_text(seconds: float | None) -> str:
    """Hours, minutes and seconds; a dash for what is not known."""
    if seconds is None:
        return "–"
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole % 3600 // 60, whole % 60
    if hours:
        return f"{hours} h {minutes:02} min"
    return f"{minutes} min {rest:02} s" if minutes else f"{rest} s"


def number_text(value: float | None, form: str = ".0f") -> str:
    """A number, or a dash for what is not known."""
    return "–" if value is None else format(value, form)


def run_text(record: HeatRecord, t_us: int) -> str:
    """Run time since the heat's begin, as minutes and seconds."""
    seconds = (t_us - record.begun_us) / 1e6
    sign, whole = ("-", -seconds) if seconds < 0 else ("", seconds)
    return f"{sign}{int(whole // 60)}:{int(whole % 60):02}"


def soak_text(soak: Soak | None) -> str:
    """The soak in one sentence."""
    if soak is None:
        return "Soak: not judged (no preheat minimum, no oven phase or no thermocouple)."
    band = f"at {soak.low_c:g} °C or more"
    if soak.high_c is not None:
        band = f"between {soak.low_c:g} and {soak.high_c:g} °C"
    return (
        f"Soak in the oven, every thermocouple of the part {band}: "
        f"{duration_text(soak.longest_s)} without a break, {duration_text(soak.total_s)} in all."
    )


def calibration_text(states: Iterable[CalibrationState], day: str, due: str | None) -> str:
    """How a sensor stood; ``day`` and ``due`` are of the last state, in local words."""
    held = list(states)
    if not held or not held[-1].checks:
        return "no calibration recorded"
    last = held[-1]
    checks = ", ".join(f"read {reads:g} for {true:g}" for reads, true in last.checks)
    until = f", due {due}" if due else ""
    note = f"; {last.note}" if last.note else ""
    return f"{day}{until}: {checks}{note}"


def sensor_text(channel: ChannelRecord, day: str, due: str | None) -> str:
    """How far a sensor is to be trusted: its calibration, and a thermocouple's class and drift."""
    text = calibration_text(channel.calibrations, day, due)
    if channel.kind == "thermocouple" or channel.error_words is not None:
        text = f"{text}; {channel.error_words or 'class and drift not said'}"
    return text


def place_text(channel: ChannelRecord) -> str:
    """Where a probe sat."""
    if not channel.of_part:
        return "shop"
    if channel.kind != "thermocouple":
        return "part"
    if channel.from_joint_mm is None:
        return "distance from the joint not said"
    return f"{channel.from_joint_mm:g} mm from the groove's edge"


def limits_lines(record: HeatRecord) -> list[str]:
    """Each version of the limits in one line, those that are set."""
    lines = []
    for dated in record.limits:
        limits = dated.limits
        said = [
            f"{words} {value:g} {unit}"
            for words, value, unit in (
                ("preheat at least", limits.preheat_min_c, "°C"),
                ("interpass at most", limits.interpass_max_c, "°C"),
                ("tube preheat at least", limits.tube_preheat_min_c, "°C"),
                ("tube interpass at most", limits.tube_interpass_max_c, "°C"),
                ("cooling under cover at most", limits.cooling_max_c_per_h, "°C/h"),
                ("oxygen at most", limits.oxygen_max_ppm, "ppm"),
                ("gas on until the root is below", limits.gas_off_below_c, "°C"),
            )
            if value is not None
        ]
        if limits.governing_side is not None:
            said.append(f"the {limits.governing_side} governs")
        lines.append(f"version {dated.version}: {', '.join(said) or 'no limits set'}")
    return lines
