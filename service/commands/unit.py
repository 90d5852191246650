"""The systemd unit for this machine: what ``heatwindow check --service-unit`` prints."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path

from sqlalchemy.engine import make_url

from service.config import Config

WATCHDOG_S = 30
"""Restart when not every worker has come round for so long [s]."""

UNIT = """\
# heatwindow as a service of this machine. Save as /etc/systemd/system/heatwindow.service, then:
#   install -d -o {user} {folder}
#   systemctl daemon-reload && systemctl enable --now heatwindow
[Unit]
Description=heatwindow: watches castings between oven and weld
After=network.target time-sync.target mosquitto.service
StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
User={user}
SupplementaryGroups=dialout audio
ExecStart={command}
Restart=always
RestartSec=2
WatchdogSec={watchdog_s}
TimeoutStartSec=120
TimeoutStopSec=10
# A fault that repeats must not fill the disk with its log.
LogRateLimitIntervalSec=30
LogRateLimitBurst=200

# It reads sensors, keeps one folder and serves one port; nothing else is needed.
ReadWritePaths={folder}
ProtectSystem=strict
ProtectHome=read-only
PrivateTmp=yes
DevicePolicy=closed
DeviceAllow=char-ttyS rw
DeviceAllow=char-ttyUSB rw
DeviceAllow=char-ttyACM rw
DeviceAllow=char-ttyAMA rw
DeviceAllow=char-alsa rw
NoNewPrivileges=yes
CapabilityBoundingSet=
AmbientCapabilities=
ProtectKernelTunables=yes
ProtectKernelModules=yes
ProtectKernelLogs=yes
ProtectControlGroups=yes
ProtectClock=yes
ProtectHostname=yes
ProtectProc=invisible
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
# Refused, not killed for it: the number library asks for memory near its processor at its start,
# and the database for its files' owner.
SystemCallErrorNumber=EPERM
UMask=0077

[Install]
WantedBy=multi-user.target
"""


def unit_text(config: Config, config_file: Path | None) -> str:
    """The unit, with this machine's paths and user in it.

    Args:
        config: Of the shop.
        config_file: Where it was read from; ``None``: the defaults.
    """
    program = Path(sys.executable).absolute().with_name("heatwindow")
    command = [str(program), "run"]
    if config_file is not None:
        command += ["--config", str(config_file.resolve())]
    folder = Path(str(make_url(config.database_url).database)).parent
    return UNIT.format(
        user=getpass.getuser(),
        command=" ".join(map(_quoted, command)),
        watchdog_s=WATCHDOG_S,
        folder=_quoted(str(folder)),
    )


def _quoted(word: str) -> str:
    """A word of a unit file: percent signs doubled, quoted where it has spaces or quotes."""
    word = word.replace("%", "%%")
    if word and not any(sign in word for sign in " \t\"'\\$;"):
        return word
    inner = word.replace("\\", "\\\\").replace('"', '\\"').replace("$", "$$")
    return f'"{inner}"'
