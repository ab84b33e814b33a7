"""The server of the edit page: what it answers, and what it refuses."""

import http.client
import json
import signal
import socket
import subprocess
import sys
from dataclasses import replace
from functools import partial
from urllib.parse import quote

import pytest

from model import evaluate, read_design
from optimiser.cli import main
from optimiser.desk_server import BODY_MOST, DeskServer
from optimiser.explain import explain
from optimiser.explain_text import explain_json
from optimiser.run_folder import ABOUT
from optimiser.sheet import PARTS, write_parts
from optimiser.terminal import STILL_STARTING
from tests.conftest import SCENARIOS
from tests.pages.desks import a_desk, served

pytestmark = pytest.mark.usefixtures("brisk_lays")

JSON = {"Content-Type": "application/json"}


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    return a_desk(tmp_path_factory.mktemp("desk"))


@pytest.fixture(scope="module")
def port(desk):
    with served(desk) as port:
        yield port


@pytest.fixture
def ask(port):
    def send(method, path, body=None, headers=None, host=None):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        try:
            content = (
                body if isinstance(body, bytes) or body is None else json.dumps(body)
            )
            sent = {**(JSON if body is not None else {}), **(headers or {})}
            sent["Host"] = host or f"127.0.0.1:{port}"
            connection.request(method, path, content, sent)
            response = connection.getresponse()
            text = response.read()
            kind = response.headers["Content-Type"] or ""
            data = json.loads(text) if "json" in kind else text
            return response.status, data, response.headers
        finally:
            connection.close()

    return send


@pytest.fixture
def opened(ask):
    return ask("GET", "/data/design")[1]


def changed(opened, **keys):
    design = json.loads(json.dumps(opened["design"]))
    design["flag"][3].update(keys)
    return {"design": design}


# ------------------------------------------------------------------------- answers


def test_it_listens_on_this_machine_alone(desk):
    server = DeskServer(desk)
    try:
        # the whole network 127/8 is this machine; no other address of it answers
        with pytest.raises(OSError, match="refused"):
            socket.create_connection(("127.0.0.2", server.port), timeout=2)
        with pytest.raises(OSError, match="cannot be used"):
            DeskServer(desk, server.port)
    finally:
        server.close()


def test_a_design_is_measured_as_it_is_evaluated(ask, opened, desk, library):
    status, data, _ = ask("POST", "/data/measure", changed(opened, wraps=2.5))
    assert status == 200
    design = read_design(desk.first)
    flags = list(design.flags)
    flags[3] = replace(flags[3], wraps=2.5)
    report = evaluate(replace(design, flags=tuple(flags)), library)
    assert data["id"] == report.design_id
    found = {row["what"]: row["value"] for row in data["metrics"]}
    assert found["frequency_cpm"] == pytest.approx(report.metrics["frequency"] * 60)
    assert found["durability"] == pytest.approx(report.metrics["durability"])
    assert len(data["map"]["rows"]) == len(data["flags"]) == 7
    assert data["misses"]


def test_it_explains_the_design_it_is_sent(ask, opened, desk):
    status, data, _ = ask("POST", "/data/explain", {"design": opened["design"]})
    told = explain_json(explain(read_design(desk.first), desk.library, spec=desk.spec))
    assert status == 200
    assert data["shares"] == json.loads(json.dumps(told["shares"]))


def test_faults_say_where_on_the_page_they_belong(ask, opened):
    body = changed(opened, wraps="many", material="standard-15")
    body["design"]["shaft"]["mandrel_set"] = "9 m"
    status, data, _ = ask("POST", "/data/measure", body)
    assert status == 200
    places = {(f["flag"], f["table"], f["key"]) for f in data["faults"]}
    assert {(3, None, "wraps"), (3, None, "material")} <= places
    assert (None, "shaft", "mandrel_set") in places


def test_what_cannot_be_built_is_said(ask, opened):
    body = {"design": json.loads(json.dumps(opened["design"]))}
    body["design"]["flag"].pop(0)
    status, data, _ = ask("POST", "/data/measure", body)
    assert status == 200
    assert data["obstacles"][0]["table"] == "finish"
    assert "too thin" in data["obstacles"][0]["text"]
    # it is measured and explained all the same, but no shop gets papers of it
    assert data["metrics"][0]["value"] > 0.0
    assert "shares" in ask("POST", "/data/explain", body)[1]
    sheet = ask("POST", "/data/sheet", {**body, "file": "thin"})[1]
    assert "too thin" in sheet["faults"][0]["text"]
    saved = ask("POST", "/data/save", {**body, "file": "thin", "seen": ""})[1]
    assert saved["file"] == "thin.toml"
    assert saved["obstacles"] == data["obstacles"]


def test_what_has_no_wall_is_not_measured(ask, opened):
    body = {"design": json.loads(json.dumps(opened["design"]))}
    body["design"]["finish"]["grind"] = "1 mm"
    assert ask("POST", "/data/measure", body)[1]["faults"][0]["key"] == "grind"
    saved = ask("POST", "/data/save", {**body, "file": "none", "seen": ""})[1]
    assert "ground through" in saved["obstacles"][0]["text"]


# ------------------------------------------------------------------------ refusals


def test_other_hosts_are_refused(ask, port):
    for host in (
        "example.org",
        f"example.org:{port}",
        "127.0.0.1",
        f"127.0.0.1:{port + 1}",
        f"127.0.0.1.example.org:{port}",
        "",
    ):
        for path in ("/", "/data/design", "/assets/desk.js"):
            assert ask("GET", path, host=host or "x")[0] == 403, host
    assert ask("GET", "/", host=f"localhost:{port}")[0] == 200


def test_a_request_without_a_host_is_refused(port):
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        line.sendall(b"GET /data/design HTTP/1.0\r\n\r\n")
        line.shutdown(socket.SHUT_WR)
        answer = b""
        while part := line.recv(65536):
            answer += part
    assert b" 403 " in answer.splitlines()[0]
    assert b"flag" not in answer


def test_other_origins_are_refused(ask, opened, port):
    body = changed(opened)
    for origin in ("http://example.org", "null", f"https://127.0.0.1:{port}", "x"):
        assert ask("POST", "/data/measure", body, {"Origin": origin})[0] == 403
    for site in ("cross-site", "same-site"):
        assert ask("GET", "/data/design", headers={"Sec-Fetch-Site": site})[0] == 403
    own = {"Origin": f"http://127.0.0.1:{port}", "Sec-Fetch-Site": "same-origin"}
    assert ask("POST", "/data/measure", body, own)[0] == 200


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", ""]
)
def test_a_form_of_a_foreign_page_is_refused(ask, opened, kind):
    answer = ask("POST", "/data/measure", changed(opened), {"Content-Type": kind})
    assert answer[0] == 415


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'"design"',
        b'{"design": 3}',
        b'{"design": []}',
        b'{"design": {"flag": NaN}}',
        b'{"design": {"flag": Infinity}}',
        b"\xff\xfe\x00",
        b"[" * 90_000,
        b'{"a":' * 30_000,
        b'{"design": {}, "design": 1}',
    ],
)
@pytest.mark.parametrize("path", ["measure", "explain", "save", "sheet"])
def test_malformed_json_is_refused(ask, path, body):
    status, data, _ = ask("POST", f"/data/{path}", body)
    assert status == 400
    assert "Traceback" not in json.dumps(data)


@pytest.mark.parametrize(
    "design",
    [
        {},
        {"flag": 3},
        {"flag": [3]},
        {"flag": [None]},
        {"flag": [{"name": None}]},
        {"shaft": []},
        {"name": "x" * 10_000, "flag": []},
        {"format": 10**30},
        {"format": 1, "library": "../../secret"},
        {"flag": [{"wraps": 10**400}]},
        {"flag": [[[[[]]]]]},
        {"": {"": ""}},
        {"flag": [{"name": "\ud800"}]},
        {"bench": {"setup": [["a"]]}},
        {"flag": [{}] * 61},
    ],
)
def test_nonsense_is_said_to_be_faulty(ask, design):
    status, data, _ = ask("POST", "/data/measure", {"design": design})
    assert status == 200
    assert data["faults"]


def test_bodies_are_bounded(ask, port):
    body = b'{"design": {"name": "' + b"x" * BODY_MOST + b'"}}'
    assert ask("POST", "/data/measure", body)[0] == 413
    # nor may a body be sent in pieces that never say how many there are
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        head = (
            f"POST /data/measure HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"
            "Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n"
        )
        piece = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
        line.sendall(head.encode() + 7 * piece + b"0\r\n\r\n")
        assert b" 413 " in line.recv(65536).splitlines()[0]


@pytest.mark.parametrize(
    "path",
    [
        "/nothing",
        "/assets/../desk.py",
        "/assets/%2e%2e/desk.py",
        "/assets/desk.py",
        "/sheet/../../etc/passwd",
        "/sheet/%2e%2e/passwd.csv",
        "/sheet/sheet-x/%2e%2e%2ffairway.toml",
        "/sheet/sheet-fairway/..%2f..%2fx.csv",
        "/sheet/sheet-nothing/layup_sheet.pdf",
    ],
)
def test_nothing_else_is_handed_out(ask, path):
    assert ask("GET", path)[0] == 404


@pytest.mark.parametrize("path", ["/data/save", "/data/measure", "/data/sheet"])
def test_a_link_changes_nothing(ask, path):
    assert ask("GET", path)[0] == 405


def test_every_answer_says_that_nothing_foreign_may_run(ask):
    for path in ("/", "/data/start", "/nothing", "/assets/desk.css"):
        headers = ask("GET", path)[2]
        assert "default-src 'none'" in headers["Content-Security-Policy"]
        assert "unsafe" not in headers["Content-Security-Policy"]
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["X-Frame-Options"] == "DENY"
        assert "Access-Control-Allow-Origin" not in headers


# -------------------------------------------------------------------------- saving


def test_a_new_file_is_saved_and_reads_back(ask, opened, desk):
    body = {**changed(opened, wraps=2.5), "file": "heavier body"}
    status, data, _ = ask("POST", "/data/save", body)
    assert (status, data["file"]) == (200, "heavier body.toml")
    assert any("proof tests" in text for text in data["cautions"])
    assert read_design(desk.folder / data["file"]).flags[3].wraps == 2.5


def test_what_a_search_found_stays_apart_from_what_is_made_of_it(tmp_path):
    run = tmp_path / "run"
    (run / "designs").mkdir(parents=True)
    desk = a_desk(run / "designs")
    assert desk.folder == run / "designs"  # a folder of that name that is no run
    (run / ABOUT).write_text("{}", encoding="utf-8")
    desk = a_desk(run / "designs")
    assert desk.folder == run / "edited"
    opened = desk.opened(None, None)
    assert opened["file"] == ""
    name = opened["suggested"]
    saved = desk.saved(opened["design"], name, is_asked=False, seen="")
    assert (run / "edited" / saved["file"]).is_file()
    assert [path.name for path in (run / "designs").iterdir()] == ["fairway.toml"]


def test_a_file_is_never_written_over_unasked(ask, opened, desk):
    body = {**changed(opened, wraps=3), "file": "fairway.toml"}
    before = desk.first.read_bytes()
    status, data, _ = ask("POST", "/data/save", body)
    assert (status, data["reason"]) == (200, "exists")
    # nor where it is asked, but by a page that has not seen what it holds now
    for seen in ("", "0" * 24):
        status, data, _ = ask(
            "POST", "/data/save", {**body, "over": True, "seen": seen}
        )
        assert (status, data["reason"]) == (200, "changed")
    # and only a plain yes is a yes
    for over in (1, "yes", [True], None):
        body["seen"] = opened["seen"]
        assert (
            ask("POST", "/data/save", {**body, "over": over})[1]["reason"] == "exists"
        )
    assert desk.first.read_bytes() == before


def test_two_pages_do_not_spoil_each_others_work(ask, opened, desk):
    first = {**changed(opened, wraps=2.25), "file": "shared"}
    seen = ask("POST", "/data/save", first)[1]["seen"]
    one = {**changed(opened, wraps=2.5), "file": "shared", "over": True, "seen": seen}
    two = {**changed(opened, wraps=2.75), "file": "shared", "over": True, "seen": seen}
    assert "seen" in ask("POST", "/data/save", one)[1]
    status, data, _ = ask("POST", "/data/save", two)
    assert (status, data["reason"]) == (200, "changed")
    assert read_design(desk.folder / "shared.toml").flags[3].wraps == 2.5
    again = ask("GET", "/data/design?file=shared.toml")[1]
    assert "seen" in ask("POST", "/data/save", {**two, "seen": again["seen"]})[1]
    assert read_design(desk.folder / "shared.toml").flags[3].wraps == 2.75


@pytest.mark.parametrize(
    "name",
    [
        "",
        " ",
        ".",
        "..",
        ".hidden",
        "../out",
        "/elsewhere/out",
        "a/b",
        "a\\b",
        "a\x00b",
        "a\nb",
        "C:x",
        "x" * 200,
        "..\\x",
    ],
)
def test_nothing_is_written_outside_the_folder(ask, opened, desk, name):
    before = {path.name for path in desk.folder.iterdir()}
    for path in ("/data/save", "/data/sheet"):
        status, data, _ = ask("POST", path, {**changed(opened), "file": name})
        assert (status, data["reason"]) == (200, "name"), path
    assert {path.name for path in desk.folder.iterdir()} == before
    assert ask("GET", "/data/design?file=" + "%2e%2e%2fx")[1]["reason"] == "name"


def test_a_link_out_of_the_folder_is_not_followed(ask, opened, desk, tmp_path):
    outside = tmp_path / "outside.toml"
    outside.write_text("mine", encoding="utf-8")
    (desk.folder / "link.toml").symlink_to(outside)
    (desk.folder / "sheet-linked").symlink_to(tmp_path)
    body = {**changed(opened), "over": True, "seen": ""}
    assert ask("POST", "/data/save", {**body, "file": "link"})[1]["reason"] == "name"
    assert ask("POST", "/data/sheet", {**body, "file": "linked"})[1]["reason"] == "name"
    assert ask("GET", "/data/design?file=link.toml")[1]["reason"] == "name"
    assert outside.read_text(encoding="utf-8") == "mine"
    assert [path.name for path in tmp_path.iterdir()] == ["outside.toml"]


def test_a_faulty_design_is_not_saved(ask, opened, desk):
    body = {**changed(opened, wraps="many"), "file": "faulty"}
    assert ask("POST", "/data/save", body)[1]["faults"]
    assert not (desk.folder / "faulty.toml").exists()


def test_the_sheet_is_written_once_and_handed_out(ask, opened, desk, monkeypatch):
    body = {**changed(opened), "file": "for the shop"}
    status, data, _ = ask("POST", "/data/sheet", body)
    assert status == 200
    assert data["folder"] == "sheet-for the shop"
    folder = desk.folder / "sheet-for the shop"
    assert data["where"] == str(folder)
    # the whole package, as the command writes it, and each of it said
    named = {file["name"] for file in data["files"]}
    assert named == {path.name for path in folder.iterdir()}
    record = json.loads((folder / "made_from" / "record.json").read_text("utf-8"))
    assert record["parts"] == list(PARTS)
    assert all(file["what"] for file in data["files"])
    assert [f["name"] for f in data["files"] if not f["opens"]] == ["made_from"]
    status, content, headers = ask(
        "GET", "/sheet/sheet-for%20the%20shop/layup_sheet.pdf"
    )
    assert status == 200
    assert content.startswith(b"%PDF")
    assert headers["Content-Type"] == "application/pdf"
    for name in named - {"made_from"}:
        path = f"/sheet/sheet-for%20the%20shop/{quote(name)}"
        status, content, headers = ask("GET", path)
        assert (status, content) == (200, (folder / name).read_bytes())
        is_saved = name.endswith((".dxf", ".svg", ".xlsx"))
        assert headers["Content-Disposition"].startswith("attachment") == is_saved
    assert ask("POST", "/data/sheet", body)[1]["reason"] == "exists"
    # a part of it tells as well whether one may write over it
    some = partial(write_parts, parts=["patterns"])
    monkeypatch.setattr("optimiser.desk.write_parts", some)
    assert "files" in ask("POST", "/data/sheet", {**body, "over": True})[1]
    (folder / "secret.txt").write_text("x")
    assert ask("GET", "/sheet/sheet-for%20the%20shop/secret.txt")[0] == 404


def test_a_folder_that_cannot_be_written_is_said(ask, opened, monkeypatch):
    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied", "there")

    monkeypatch.setattr("optimiser.desk.save_design", refuse)
    status, data, _ = ask("POST", "/data/save", {**changed(opened), "file": "any"})
    assert status == 500
    assert data["error"] == "there: permission denied"


@pytest.mark.parametrize("as_json", [False, True])
def test_the_command_serves_until_it_is_interrupted(desk, as_json):
    words = [sys.executable, "-m", "optimiser.cli", "open", str(desk.first)]
    words += ["--json"] if as_json else []
    with subprocess.Popen(
        [*words, "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=SCENARIOS.parent,
    ) as process:
        try:
            first = process.stdout.readline()
            if as_json:
                said = json.loads(first)
                address, folder = said["address"], said["folder"]
            else:
                address, folder = first.split()[0], process.stdout.readline()
            assert address.startswith("http://127.0.0.1:")
            assert str(desk.folder) in folder
            connection = http.client.HTTPConnection(address[7:-1], timeout=20)
            connection.request("GET", "/data/start")
            assert connection.getresponse().status == 200
            connection.close()
            process.send_signal(signal.SIGINT)
            out, err = process.communicate(timeout=20)
        finally:
            process.kill()
    assert (process.returncode, out) == (0, "" if as_json else "closed\n")
    assert err in ("", f"{STILL_STARTING}\n")  # said wherever a busy machine is slow


def test_the_command_refuses_what_is_no_design(capsys, tmp_path):
    assert main(["open", str(tmp_path), "--no-browser"]) == 2
    assert "neither a design file nor a run folder" in capsys.readouterr().err
    assert main(["open", str(tmp_path / "x.toml"), "--no-browser"]) == 2
    assert "no such file" in capsys.readouterr().err
