"""The web application, made by a factory from what it may reach."""

from __future__ import annotations

from flask import Flask

from dashboard import guard, problems
from dashboard.api import api
from dashboard.assets import Assets
from dashboard.bokeh_files import bokeh_files
from dashboard.events import events
from dashboard.finding import finding
from dashboard.hands import hands
from dashboard.learnt import learnt
from dashboard.metals import metals
from dashboard.outcomes import outcomes
from dashboard.outlets import outlets
from dashboard.pages import pages
from dashboard.plans import plans
from dashboard.ports import ports
from dashboard.procedures import procedures
from dashboard.records import records
from dashboard.volumes import volumes
from dashboard.wiring import Doors, Wiring

BODY_MAX_BYTES = 16_384
"""An action is small; anything larger is not one."""


def create_app(wiring: Wiring, doors: Doors | None = None) -> Flask:
    """Make the pages and the API.

    Args:
        wiring: The functions behind them.
        doors: Names under which the service answers; by default this machine only.

    Returns:
        A WSGI application without state of its own, safe for several threads.
    """
    app = Flask("dashboard", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = BODY_MAX_BYTES
    assets = Assets()
    app.extensions["heatwindow"] = wiring
    app.extensions["heatwindow-assets"] = assets
    guard.install(app, doors or Doors())
    problems.install(app)
    app.jinja_env.globals["asset"] = assets.address
    app.jinja_env.globals["s"] = assets.strings
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True
    app.register_blueprint(api)
    app.register_blueprint(hands)
    app.register_blueprint(ports)
    app.register_blueprint(outlets)
    app.register_blueprint(outcomes)
    app.register_blueprint(metals)
    app.register_blueprint(plans)
    app.register_blueprint(learnt)
    app.register_blueprint(procedures)
    app.register_blueprint(volumes)
    app.register_blueprint(records)
    app.register_blueprint(bokeh_files)
    app.register_blueprint(events)
    app.register_blueprint(finding)
    app.register_blueprint(pages)
    app.register_blueprint(assets.blueprint())
    return app
