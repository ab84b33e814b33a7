"""The command that opens the edit page."""

from __future__ import annotations

import argparse
import json
import sys
import threading
import webbrowser
from typing import Any

from optimiser.chosen import choose
from optimiser.desk import Desk
from optimiser.desk_server import HOST, DeskServer
from optimiser.hand_commands import add_source
from optimiser.run_folder import ABOUT
from optimiser.store import open_run
from optimiser.terminal import Command, say, waiting_timer, whole


def _add_open(opened: Any) -> None:
    add_source(opened)
    opened.add_argument(
        "--port", type=whole(1), default=0, metavar="N", help="port; a free one without"
    )
    opened.add_argument(
        "--no-browser", action="store_true", help="print the address, open no browser"
    )


def _open(arguments: argparse.Namespace) -> int:
    desk = _desk(arguments)
    server = DeskServer(desk, arguments.port)
    address = f"http://{HOST}:{server.port}/"
    if arguments.json:
        say(json.dumps({"address": address, "folder": str(desk.folder)}))
    else:
        say(f"{address}  (this machine alone; Ctrl-C ends it)")
        say(f"designs and sheets go to {desk.folder}")
    sys.stdout.flush()
    if not arguments.no_browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
    try:
        # ends quietly at Ctrl-C
        server.serve()
    finally:
        server.close()
    if not arguments.json:
        say("closed")
    return 0


def _desk(arguments: Any) -> Desk:
    source = arguments.source
    is_run = source.is_dir() and (source / ABOUT).exists()
    chooses = is_run and not (arguments.design or arguments.spec or arguments.library)
    waiting = waiting_timer()
    waiting.start()
    try:
        if chooses:
            desk = Desk.of_run(open_run(source))
        else:
            chosen = choose(
                source,
                design=arguments.design,
                library=arguments.library,
                spec=arguments.spec,
            )
            desk = Desk.of(chosen)
        desk.warm_up()
        return desk
    finally:
        waiting.cancel()


COMMANDS = {"open": Command(_add_open, _open)}
