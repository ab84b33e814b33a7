"""Desks that serve, for tests of the edit page."""

from contextlib import contextmanager
from pathlib import Path

from optimiser.chosen import choose
from optimiser.desk import Desk
from optimiser.desk_server import DeskServer
from tests.conftest import SCENARIOS

DESIGN = SCENARIOS / "designs" / "fairway-60.toml"
SPEC = SCENARIOS / "fairway_58" / "spec.toml"


def a_desk(folder: Path, name: str = "fairway.toml") -> Desk:
    path = folder / name
    path.write_text(DESIGN.read_text(encoding="utf-8"), encoding="utf-8")
    desk = Desk.of(choose(path, spec=SPEC))
    desk.warm_up()
    return desk


@contextmanager
def served(desk: Desk):
    server = DeskServer(desk)
    server.beside()
    try:
        yield server.port
    finally:
        server.close()
