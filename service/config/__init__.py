"""The configuration: one TOML file, read and checked whole before anything opens.

Links and storage live in the file; channels, parts and limits live in the database. No file at
all is a valid configuration: SQLite in the user's data directory, the page on loopback, no
links. Every fault is listed at once, each with file, key, value and rule; an unknown key is a
fault. Relative paths are taken from the folder of the file, so that a service started from
elsewhere finds the same shop.

===============  =====================================================================
table            keys
===============  =====================================================================
``[store]``      ``url``, ``commit_window_ms``, ``spool_readings``
``[[serial]]``   ``port``, ``baud``, ``profile``, ``channel``, ``unit``
``[[log_file]]`` ``path``, ``profile``, ``channel``, ``unit``, ``from_start``
``[mqtt]``       ``host``, ``port``, ``topics``, ``client_id``, ``username``,
                 ``password_file``, ``tls_ca_file``, ``tls_cert_file``, ``tls_key_file``
``[dashboard]``  ``host``, ``port``
``[notify]``     ``sounder``, ``sounder_every_s``, ``sounder_timeout_s``, ``serial_port``,
                 ``serial_baud``, ``mqtt_topic``
``[notify.webhook]`` ``url``, ``username``, ``password_file``, ``tls_ca_file``, ``verdicts``
``[notify.email]``   ``host``, ``port``, ``security``, ``username``, ``password_file``,
                 ``tls_ca_file``, ``sender``, ``recipients``, ``every_s``
===============  =====================================================================
"""

from service.config.adopted import AdoptedPorts
from service.config.faults import ConfigFault, ConfigRefused
from service.config.identity import default_database_url, derived_client_id, machine_id
from service.config.load import load
from service.config.notify import EmailConfig, NotifyConfig, WebhookConfig
from service.config.tables import (
    Config,
    DashboardConfig,
    LogFileConfig,
    MqttConfig,
    SerialConfig,
    StoreConfig,
)

__all__ = [
    "AdoptedPorts",
    "Config",
    "ConfigFault",
    "ConfigRefused",
    "DashboardConfig",
    "EmailConfig",
    "LogFileConfig",
    "MqttConfig",
    "NotifyConfig",
    "SerialConfig",
    "StoreConfig",
    "WebhookConfig",
    "default_database_url",
    "derived_client_id",
    "load",
    "machine_id",
]
