"""What the fuzzer feeds: everything that takes bytes or text from outside, and what must hold.

A target takes bytes and says in one word what became of them. A refusal in its own words is an
answer; any other exception, and any broken rule (``hold``), is a finding. What is let through must
be sound, and two ways of reading must agree.
"""

from __future__ import annotations

import json
import math
import random
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import parse_qsl

from pydantic import ValidationError

from dashboard.guard import host_name
from dashboard.history_question import POINTS_MAX, SPAN_MAX_US, HistoryQuestion
from dashboard.problems import Problem, faults
from dashboard.times import to_rfc3339
from service.commands.errors import BadInput
from service.commands.forecast import forecast_log, read_log
from service.commands.purge import as_json, purge_log
from service.commands.purge_log import read_purge_log
from service.config import ConfigRefused, load
from service.config.adopted import AdoptedPorts
from service.config.pin import PinKeeper, PinRefused
from service.judge.actions import any_action, operator_action
from service.judge.checkpoint import CheckpointError, decode, encode
from service.judge.events import Stamp
from service.readings import Spread
from service.store.spool import Spool, pack
from service.wire import senml
from service.wire.amplifier import (
    MAX31855_MV_PER_K,
    AmplifierReading,
    BadFrame,
    decode_max31855,
    decode_max31856,
    relinearised_max31855,
)
from service.wire.lines import LineAssembler
from service.wire.pack import Pack
from service.wire.profiles import make_profile
from service.wire.resolve import MAX_BOOT_CHARS, MAX_NAME_CHARS, MAX_SEQ, NAME_PATTERN, resolve_text
from service.wire.usual import usual_pack

INSIDE_UNITS = {"Cel", "l/min", "ppm", "Pa", "A", "mV", "on/off"}
"""As DEVELOPERS.md has them."""
LINE_LIMIT = 512
NOW_US = 1_772_500_000_000_000


@dataclass(frozen=True)
class Target:
    """One reader.

    Attributes:
        feed: Takes bytes; one word.
        seeds: Sound input to begin from.
        words: Pieces that mean something to the reader.
        share: Out of a thousand inputs so many go here.
    """

    feed: Callable[[bytes], str]
    seeds: tuple[bytes, ...]
    words: tuple[bytes, ...]
    share: float


class Broken(AssertionError):
    """What came out is not what was promised."""


def hold(rule: bool, what: str) -> None:
    if not rule:
        raise Broken(what)


# The wire ---------------------------------------------------------------------------------


def _sound(found: Pack) -> str:
    for each in found.measurements:
        hold(each.value is None or math.isfinite(each.value), f"{each} is not finite")
        hold((each.value is None) == (each.reason is not None), f"{each} needs a value or a reason")
        hold(each.unit is None or each.unit in INSIDE_UNITS, f"{each} has a foreign unit")
        hold(bool(NAME_PATTERN.fullmatch(each.name)), f"{each.name!r} is no name")
        hold(len(each.name) <= MAX_NAME_CHARS, f"{each.name!r} is too long")
        hold(each.time_us is None or each.offset_us == 0, f"{each} has two times")
        hold(each.reason is None or each.reason.isprintable(), f"{each.reason!r} cannot be shown")
    hold(found.boot is None or 1 <= len(found.boot) <= MAX_BOOT_CHARS, f"boot {found.boot!r}")
    hold(found.seq is None or 0 <= found.seq <= MAX_SEQ, f"seq {found.seq!r}")
    for reject in found.rejects:
        hold(reject.text.isprintable(), f"{reject.text!r} cannot be shown")
    return "taken" if found.measurements else "refused"


def message(data: bytes) -> str:
    """One MQTT message; a line of the same bytes gives no less."""
    found = senml.decode_pack(data)
    hold(bool(found.measurements or found.rejects or found.sums_ignored or _bare(data)), "silence")
    within = senml.decode_line(data)
    hold(bool(within), "a line without an answer")
    for each in within:
        _sound(each)
    least = len(found.measurements)
    hold(sum(len(each.measurements) for each in within) >= least, "the line gave less")
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return _sound(found)
    quick = usual_pack(text)
    if quick is not None:
        hold(quick == senml._measure(resolve_text(text)), "the short way differs from the long way")
    return _sound(found)


def _bare(data: bytes) -> bool:
    """Only base fields: nothing is measured and nothing is wrong."""
    return isinstance(json.loads(data), list)


PROFILES = (
    "senml",
    "name=value",
    "csv",
    "csv:time,a [Cel],b_l_min",
    r"regex:(?P<name>\w+) (?P<value>\S+)(?: (?P<unit>\S+))?",
)


def lines(data: bytes) -> str:
    """Bytes of a serial line, whole and in pieces, through every profile."""
    chance = random.Random(zlib.crc32(data))
    whole, cut = LineAssembler(LINE_LIMIT), LineAssembler(LINE_LIMIT)
    found = whole.feed(data)
    pieces: list[bytes] = []
    place = 0
    while place < len(data):
        size = chance.randint(1, 24)
        pieces += cut.feed(data[place : place + size])
        hold(cut.held_bytes <= LINE_LIMIT, f"{cut.held_bytes} bytes are held")
        place += size
    hold(found == pieces, "cut differently, other lines")
    profile = make_profile(chance.choice(PROFILES), "a", "Cel")
    answers = [_sound(each) for line in found for each in profile.decode(line)]
    profile.restart()
    return "taken" if "taken" in answers else "refused"


def frame(data: bytes) -> str:
    """Frames of both amplifier chips; what is let through lies within the chip's own range."""
    try:
        if len(data) == 4:
            reading = decode_max31855(data)
            _relinearised(reading)
        else:
            reading = decode_max31856(data)
    except BadFrame as error:
        hold(str(error).isprintable(), repr(error))
        return "refused"
    hold(bool(reading.faults) == (reading.temperature_c is None), f"{reading} contradicts itself")
    for value_c in (reading.temperature_c, reading.cold_junction_c):
        hold(value_c is None or -2048 <= value_c < 2048, f"{value_c} is beyond the chip")
    return "taken"


def _relinearised(reading: AmplifierReading) -> None:
    for letter in MAX31855_MV_PER_K:
        try:
            value_c = relinearised_max31855(letter, reading)
        except ValueError:
            continue
        hold(-271 < value_c < 1821, f"type {letter}: {value_c} is beyond ITS-90")


# Files ------------------------------------------------------------------------------------


class Files:
    """Targets that read a file of a folder of their own.

    Args:
        folder: Emptied by whoever made it.
    """

    def __init__(self, folder: Path) -> None:
        self._log = folder / "log.csv"
        self._config = folder / "shop.toml"
        self._ports = AdoptedPorts(f"sqlite:///{folder / 'fuzz.db'}")
        self._pin = PinKeeper(f"sqlite:///{folder / 'fuzz.db'}")
        self._spool = folder / "fuzz.spool"

    def forecast_log(self, data: bytes) -> str:
        self._log.write_bytes(data)
        try:
            rows = read_log(self._log)
        except BadInput as error:
            return _refused(error)
        hold(all(math.isfinite(row.t_s) for row in rows), "a row without a time")
        hold(bool(rows), "a log without rows")
        return "taken"

    def forecast_answer(self, data: bytes) -> str:
        self._log.write_bytes(data)
        try:
            (answer,) = forecast_log(self._log, 200.0)
        except BadInput as error:
            return _refused(error)
        json.dumps(answer, allow_nan=False)
        return "taken"

    def purge_log(self, data: bytes) -> str:
        self._log.write_bytes(data)
        try:
            read_purge_log(self._log)
        except BadInput as error:
            return _refused(error)
        return "taken"

    def purge_answer(self, data: bytes) -> str:
        self._log.write_bytes(data)
        try:
            answer = as_json(purge_log(self._log, 2.4, 50.0))
        except BadInput as error:
            return _refused(error)
        json.dumps(answer, allow_nan=False)
        worst = answer["oxygen_ppm_at_end"]["p95"]
        hold(answer["clear"] == (worst is not None and worst < 50.0), f"clear at {worst} ppm")
        return "taken"

    def config(self, data: bytes) -> str:
        self._config.write_bytes(data)
        try:
            config = load(self._config)
        except ConfigRefused as refusal:
            return _refused(refusal)
        hold(config.database_url.startswith("sqlite:////"), config.database_url)
        return "taken"

    def adopted_ports(self, data: bytes) -> str:
        self._ports.path.write_bytes(data)
        try:
            ports = self._ports.read()
            for port in ports:
                self._ports.add(port)
            hold({p.port for p in self._ports.read()} == {p.port for p in ports}, "ports were lost")
        except ConfigRefused as refusal:
            return _refused(refusal)
        return "taken"

    def pin_file(self, data: bytes) -> str:
        self._pin.path.write_bytes(data)
        hold(not self._pin.knows("made up"), "a token nobody was given")
        try:
            self._pin.sign_in("no pin")
        except PinRefused as refusal:
            hold(str(refusal).isprintable(), repr(refusal))
            return "refused"
        raise Broken("what is no PIN was taken for one")

    def spool(self, data: bytes) -> str:
        self._spool.write_bytes(data)
        bodies = [body for body, _ in Spool(self._spool).read()]
        for body in bodies:
            hold(pack(body) in data, "a record that was never written")
        return "taken" if bodies else "refused"


def _refused(error: Exception) -> str:
    text = str(error)
    hold(bool(text) and len(text) < 20_000, f"a refusal of {len(text)} characters")
    return "refused"


# What the page sends ----------------------------------------------------------------------


def action(data: bytes) -> str:
    """An action's JSON: what is taken comes back from the journal as it was."""
    try:
        found = operator_action.validate_json(data)
    except ValidationError as error:
        told = json.dumps(faults(error, tagged=True), allow_nan=False, ensure_ascii=False)
        hold(bool(told), "a refusal without a word")
        return "refused"
    again = any_action.validate_json(any_action.dump_json(found))
    hold(again == found, f"{found} comes back as {again}")
    return "taken"


def question(data: bytes) -> str:
    """The query of a question for history, and the Host beside it."""
    text = data.decode("utf-8", "replace")
    host_name(text)
    try:
        asked = HistoryQuestion(dict(parse_qsl(text, keep_blank_values=True)), NOW_US)
    except Problem as problem:
        hold(problem.status == 400 and bool(problem.errors), repr(problem))
        return "refused"
    hold(0 < asked.end_us - asked.start_us <= SPAN_MAX_US, f"{asked.start_us} to {asked.end_us}")
    hold(1 <= asked.points <= POINTS_MAX, f"{asked.points} points")
    to_rfc3339(asked.start_us)
    to_rfc3339(asked.end_us)
    return "taken"


def checkpoint(data: bytes) -> str:
    """A judge's memory on the disk: damaged it is refused, whole or once unpacked."""
    for each in (data, zlib.compress(data, 1)):
        try:
            decode(each, "v")
        except CheckpointError:
            continue
        return "taken"
    return "refused"


# All of them ------------------------------------------------------------------------------

_PACKS = (
    b'[{"bn":"node1:","bt":1772500000,"n":"port2","u":"Cel","v":312.5},{"n":"argon","u":"l/s",'
    b'"v":0.2},{"n":"arc","vb":false},{"n":"flange","u":"Cel","vs":"open-circuit"}]',
    b'[{"boot":"f3a9","seq":17,"n":"a","u":"Cel","v":1,"t":-2}]',
    b'[{"n":"a","u":"mV","v":10.153,"ut":5,"s":1},{"bver":10,"bu":"A","bv":2,"n":"b"}]',
)
_PACK_WORDS = (
    b'"bn":', b'"bt":', b'"bu":', b'"bv":', b'"bs":', b'"bver":', b'"n":', b'"u":', b'"v":',
    b'"vs":', b'"vb":', b'"vd":', b'"s":', b'"t":', b'"ut":', b'"boot":', b'"seq":', b'"x_":',
    b'"Cel"', b'"K"', b'"l/s"', b'"ppm"', b'"%"', b'"mV"', b"true", b"false", b"null", b"NaN",
    b"Infinity", b"1e999", b"-1e-999", b"268435456", b"253402300800", b"9007199254740993",
    b"[{", b"}]", b"},{", b'\\ud800"', b'\\u0000"', b"[" * 60,
)  # fmt: skip
_LINES = (
    *(each + b"\n" for each in _PACKS),
    b"port2=312.5 Cel, argon=12 l/min, arc=off, flange=open-circuit\n",
    b"time,port2 [Cel],argon (l/min),oxygen_ppm\n2026-03-01T08:15:00Z,312.5,12,\n",
    b"channel;value;unit;t\nport2;312,5;Cel;1772352900\n",
    b"T1 312.5 C\nT2 OPEN C\n",
)
_LINE_WORDS = (
    *_PACK_WORDS, b"\n", b"\r\n", b"\n\n", b"=", b" Cel", b" degF", b" l/min", b",", b";", b"\t",
    b'"', b"[Cel]", b"(ppm)", b"_c", b"time", b"channel", b"value", b"unit", b"=on", b"=1e999 A",
    b"\xef\xbb\xbf", b"2026-03-01T08:15:00+25:00", b"x" * 600, b"a=1 " * 40, b"\xff", b"\0",
)  # fmt: skip
_CSV_WORDS = (
    b"t_s", b"temp_c", b"channel", b"flow_l_min", b"oxygen_ppm", b"gas_temp_c", b",", b",,", b"\n",
    b"\r", b'"', b"\n\n", b"nan", b"inf", b"-inf", b"1e308", b"1e-308", b"1_0", b"-0", b"\0",
    b"\xef\xbb\xbf", b"\xff", b"1e12", b"1400", b"\xd9\xa3",
)  # fmt: skip
_TOML_WORDS = (
    b"[store]\n", b"[[serial]]\n", b"[mqtt]\n", b"[dashboard]\n", b"[notify]\n", b"[[log_file]]\n",
    b"[notify.webhook]\n", b"[notify.email]\n", b"url", b"port", b"baud", b"profile", b"host",
    b"topics", b"client_id", b"username", b"password_file", b"tls_ca_file", b"sounder", b"= 1\n",
    b'= "x"\n', b"= [1]\n", b"= {a=1}\n", b"= nan\n", b"= 1979-05-27\n", b"= true\n", b'"""',
    b'"sqlite:///shop.db"', b'"regex:(?P<value>x)"', b'"csv:a [Cel]"', b"\\u0000", b"#", b"\n",
)  # fmt: skip
_ACTIONS = (
    b'{"kind":"create part","facts":{"name":"manifold","mass_kg":9.5},"limits":'
    b'{"preheat_min_c":250,"oxygen_max_ppm":50}}',
    b'{"kind":"begin heat","part_id":1,"token":"a1"}',
    b'{"kind":"adopt channel","channel":"emf","channel_kind":"thermocouple","thermocouple":"K",'
    b'"cold_junction":"board"}',
    b'{"kind":"calibrate channel","channel":"a","checks":[{"reads":0.4,"true":0}],"note":"ice"}',
    b'{"kind":"set bottle","water_volume_l":50,"pressure_pa":15e6}',
    b'{"kind":"move part","heat_id":1,"phase":"bench"}',
    b'{"kind":"acknowledge alarm","alarm_id":3}',
)
_ACTION_WORDS = (
    b'"kind":', b'"part_id":', b'"heat_id":', b'"channel":', b'"facts":', b'"limits":', b'"name":',
    b'"token":', b'"alarm_id":', b'"phase":', b'"metal":', b"null", b"true", b"1e999", b"NaN",
    b"9" * 30, b'"\\ud800"', b'"\\u0000"', b"[[", b"}}", b"-1", b'"end heat"', b'"next step"',
    b'"undo step"', b'"correct phase"', b'"answer question"', b'"assign channel"',
)  # fmt: skip
_QUESTIONS = (
    b"channel=bench1%2Fflange&start=2026-03-01T08:00:00Z&end=2026-03-01T09:00:00Z&points=600",
    b"channel=a&start=2026-03-01T08:00:00%2B01:00",
)
_QUESTION_WORDS = (
    b"channel=", b"start=", b"end=", b"points=", b"&", b"%", b"%00", b"0001-01-01T00:00:00",
    b"9999-12-31T23:59:59.999999", b"+23:59", b"-23:59", b"Z", b"5000", b"5001", b"\xd9\xa3",
)  # fmt: skip
_WORDS = (b'"$"', b'"class"', b'"fields"', b'"array"', b'"items"', b'"state"')


def targets(folder: Path) -> dict[str, Target]:
    """Every target by name; ``folder`` is for those that read files."""
    files = Files(folder)
    forecast = (b"t_s,temp_c\n0,400\n10,396.5\n20,393\n", b"t_s,channel,temp_c\n0,a,400\n5,b,\n")
    purged = (b"t_s,flow_l_min\n0,12\n10,12\n600,12\n", b"t_s,flow_l_min,oxygen_ppm\n0,8,209000\n")
    serial = b'[[serial]]\nport = "/dev/ttyUSB0"\nbaud = 9600\nprofile = "csv"\n'
    config = (
        b'[store]\nurl = "sqlite:///shop.db"\n' + serial + b'[mqtt]\nhost = "h"\ntopics = ["a/#"]\n'
        b'[dashboard]\nhost = "127.0.0.1"\nport = 8080\n[notify]\nsounder = ["aplay", "a.wav"]\n',
    )
    memory = (zlib.decompress(encode([Stamp(1, 2, 3), Spread(1.0, 2.0, None), {1: "a"}], "v")),)
    pin = (b'{"pin": "$argon2id$v=19$m=65536,t=3,p=4$c2FsdA$aGFzaA", "hands": ["00ff"]}',)
    frames = (bytes(3) + b"\x01", b"\x19\x20\x19\x10", bytes(5) + b"\1")
    spool = (pack(b"one") + pack(b"two" * 9), b"HWS1" + pack(b""))
    return {
        "message": Target(message, _PACKS, _PACK_WORDS, 350),
        "lines": Target(lines, _LINES, _LINE_WORDS, 300),
        "frame": Target(frame, frames, (), 120),
        "action": Target(action, _ACTIONS, _ACTION_WORDS, 110),
        "question": Target(question, _QUESTIONS, _QUESTION_WORDS, 50),
        "checkpoint": Target(checkpoint, memory, _WORDS, 20),
        "spool": Target(files.spool, spool, (b"HWS1", pack(b"x"), b"\0\0\0\1"), 10),
        "pin file": Target(files.pin_file, pin, (b'"pin"', b'"hands"', b"$argon2id$"), 2),
        "forecast log": Target(files.forecast_log, forecast, _CSV_WORDS, 12),
        "purge log": Target(files.purge_log, purged, _CSV_WORDS, 12),
        "forecast answer": Target(files.forecast_answer, forecast, _CSV_WORDS, 1),
        "purge answer": Target(files.purge_answer, purged, _CSV_WORDS, 1),
        "config": Target(files.config, config, _TOML_WORDS, 8),
        "adopted ports": Target(files.adopted_ports, (serial, serial * 2), _TOML_WORDS, 4),
    }
