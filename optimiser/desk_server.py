"""The edit page's server: on this machine alone, for this page alone.

It listens on 127.0.0.1. A request must name that address as its host, so that no other
name can be pointed at it; one that says where it comes from must come from its own
page; what changes anything is a POST of JSON, which no foreign page can send. Bodies
are bounded, and files are read and written in one folder.
"""

from __future__ import annotations

import errno
import json
import logging
import socket
import threading
from collections.abc import Callable, Mapping
from importlib.resources import files
from typing import Any, Final

from flask import Flask, Response, request
from waitress import create_server
from werkzeug.datastructures import Headers
from werkzeug.exceptions import HTTPException
from werkzeug.security import safe_join

from model import InputError
from optimiser.desk import OPENED, Desk, RefusedError
from optimiser.desk_json import faults_json
from optimiser.sheet import SHEET_NAME

HOST: Final = "127.0.0.1"
#: Largest body of a request. [bytes]
BODY_MOST: Final = 200_000
#: Larger ones are not even read. [bytes]
_READ_MOST = 2 * BODY_MOST
_PAGE = files("optimiser") / "desk_page"
_ASSETS: Final = {
    "desk.js": "text/javascript",
    "desk_choose.js": "text/javascript",
    "desk_draw.js": "text/javascript",
    "desk_map.js": "text/javascript",
    "desk_plots.js": "text/javascript",
    "desk.css": "text/css",
}
#: Papers that a browser shows by itself; the others it saves.
_SHOWN: Final = (".pdf", ".csv")
_HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; "
        "img-src 'self' data:; connect-src 'self'; form-action 'none'; "
        "frame-ancestors 'none'; base-uri 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class _BadRequestError(Exception):
    """A request that no page of ours sends."""

    def __init__(self, status: int, message: str) -> None:
        super().__init__(message)
        self.status = status


class DeskServer:
    """A server that listens, and serves once it is told to."""

    def __init__(self, desk: Desk, port: int = 0) -> None:
        ports: list[int] = []
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind((HOST, port))
        except (OSError, OverflowError) as error:
            listener.close()
            said = f"port {port} cannot be used; give another one"
            raise OSError(errno.EADDRINUSE, said) from error
        self._server = create_server(
            make_app(desk, ports),
            sockets=[listener],
            threads=4,
            ident=None,
            max_request_body_size=_READ_MOST,
            max_request_header_size=16_384,
            channel_timeout=30,
        )
        self._is_closed = False
        self.port: int = listener.getsockname()[1]
        ports.append(self.port)

    def serve(self) -> None:
        """Serve until the server is closed, or the program interrupted."""
        # one person's requests that wait for a moment are nobody's concern
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)
        try:
            self._server.run()
        except OSError:
            # closed by another thread while it waits for requests
            if not self._is_closed:
                raise

    def beside(self) -> threading.Thread:
        """Serve beside the program.

        Returns
        -------
        thread : Thread
            Ends some time after the server is closed. [-]
        """
        thread = threading.Thread(target=self.serve, daemon=True)
        thread.start()
        return thread

    def close(self) -> None:
        """Stop serving."""
        self._is_closed = True
        self._server.close()


def make_app(desk: Desk, ports: list[int]) -> Flask:
    """Make the application of a desk.

    Parameters
    ----------
    desk : Desk
        What the page works on. [-]
    ports : list of int
        Ports that it is reached at; may be filled later. [-]

    Returns
    -------
    app : Flask
        All routes and their guards. [-]
    """
    app = Flask("optimiser", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = BODY_MOST
    app.config["MAX_FORM_MEMORY_SIZE"] = BODY_MOST

    @app.before_request
    def guard() -> None:
        hosts = {f"{name}:{p}" for name in (HOST, "localhost") for p in ports}
        _check_source(request.headers, hosts)

    @app.after_request
    def harden(response: Response) -> Response:
        for name, value in _HEADERS.items():
            response.headers[name] = value
        return response

    @app.errorhandler(Exception)
    def failed(error: Exception) -> Response:
        # what a person can get wrong is an answer of its own, not a failed request
        if isinstance(error, InputError):
            return _json({"faults": faults_json(error.faults)})
        if isinstance(error, RefusedError):
            return _json({"error": str(error), "reason": error.reason})
        if isinstance(error, _BadRequestError):
            return _json({"error": str(error)}, error.status)
        if isinstance(error, HTTPException):
            return _json({"error": str(error.name).lower()}, error.code or 500)
        if isinstance(error, OSError):
            said = (error.strerror or str(error)).lower()
            return _json({"error": f"{error.filename or 'file'}: {said}"}, 500)
        app.logger.exception("a request failed")
        return _json({"error": "a fault of this program; see its terminal"}, 500)

    @app.get("/")
    def page() -> Response:
        return _asset("desk.html", "text/html")

    @app.get("/assets/<name>")
    def asset(name: str) -> Response:
        if name not in _ASSETS:
            raise _BadRequestError(404, "not found")
        return _asset(name, _ASSETS[name])

    @app.get("/data/start")
    def start() -> Response:
        return _json(desk.start())

    @app.get("/data/design")
    def opened() -> Response:
        return _json(desk.opened(request.args.get("id"), request.args.get("file")))

    def posted(path: str, answer: Callable[[Mapping[str, Any]], Any]) -> None:
        def view() -> Response:
            return _json(answer(_body()))

        app.add_url_rule(path, path, view, methods=["POST"])

    posted("/data/measure", lambda body: desk.measured(_design(body)))
    posted("/data/explain", lambda body: desk.explained(_design(body)))
    posted(
        "/data/save",
        lambda body: desk.saved(
            _design(body),
            _text(body, "file"),
            is_asked=body.get("over") is True,
            seen=_text(body, "seen"),
        ),
    )
    posted(
        "/data/sheet",
        lambda body: desk.sheet(
            _design(body), _text(body, "file"), is_asked=body.get("over") is True
        ),
    )

    @app.get("/sheet/<folder>/<name>")
    def sheet_file(folder: str, name: str) -> Response:
        return _sheet_file(desk, folder, name)

    return app


def _check_source(headers: Headers, hosts: set[str]) -> None:
    """Refuse what does not come from the page itself."""
    if headers.get("Host", "") not in hosts:
        raise _BadRequestError(403, "this server answers at 127.0.0.1 only")
    origin = headers.get("Origin")
    if origin is not None and origin not in {f"http://{host}" for host in hosts}:
        raise _BadRequestError(403, "only its own page may ask this server")
    if headers.get("Sec-Fetch-Site", "none") not in ("none", "same-origin"):
        raise _BadRequestError(403, "only its own page may ask this server")


def _body() -> Mapping[str, Any]:
    """Body of a request: one JSON object of values that JSON has."""
    if request.mimetype != "application/json":
        raise _BadRequestError(415, "send JSON")

    def no_number(word: str) -> float:
        raise ValueError(f"{word} is no JSON")

    try:
        body = json.loads(request.get_data(), parse_constant=no_number)
    except (ValueError, RecursionError) as error:
        raise _BadRequestError(400, "not JSON that can be read") from error
    if not isinstance(body, dict):
        raise _BadRequestError(400, "not an object")
    return body


def _design(body: Mapping[str, Any]) -> Mapping[str, Any]:
    design = body.get("design")
    if not isinstance(design, dict):
        raise _BadRequestError(400, "no design")
    return design


def _text(body: Mapping[str, Any], key: str) -> str:
    value = body.get(key, "")
    if not isinstance(value, str):
        raise _BadRequestError(400, f"{key} is no text")
    return value


def _json(what: Any, status: int = 200) -> Response:
    text = json.dumps(what, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return Response(text, status, mimetype="application/json")


def _asset(name: str, kind: str) -> Response:
    return Response(_PAGE.joinpath(name).read_bytes(), mimetype=kind)


def _sheet_file(desk: Desk, folder: str, name: str) -> Response:
    """Hand out a file of a sheet that stands in the desk's folder."""
    found = safe_join(str(desk.folder), folder, name)
    path = desk.folder / folder / name
    kind = OPENED.get(path.suffix)
    if (
        found is None
        or kind is None
        or not folder.startswith("sheet-")
        or not (path.parent / SHEET_NAME).is_file()
        or path.resolve().parent.parent != desk.folder
        or not path.is_file()
    ):
        raise _BadRequestError(404, "not found")
    response = Response(path.read_bytes(), mimetype=kind)
    way = "inline" if path.suffix in _SHOWN else "attachment"
    response.headers["Content-Disposition"] = f'{way}; filename="{name}"'
    return response
