"""A served bench: only with its token and this machine's name; it follows its files."""

from __future__ import annotations

import http.client
import json
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from lutbench.bench.gather import KnownEnds, Order
from lutbench.bench.serve import CHECK_SECONDS, BenchServer, Follower
from lutbench.errors import LutbenchError
from lutbench.formats.cube_write import write_cube
from lutbench.model.catalogue import open_catalogue
from lutbench.tables.lut import Lut3D, lattice

KNOWN = open_catalogue(user=False)

RECIPE = """
title = "Day"
[source]
curve = "ACEScct"
gamut = "ACEScg"
[target]
curve = "BT.1886"
gamut = "BT.709"
[[lut]]
name = "monitor"
size = 5
exposure = {exposure}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_cube(Lut3D.identity(2), tmp_path / "a.cube")
    return tmp_path


@pytest.fixture
def server(folder: Path) -> Iterator[BenchServer]:
    with BenchServer(Order(folder, KnownEnds(KNOWN.curve("ACEScct")))) as made:
        threading.Thread(target=made.run, daemon=True).start()
        yield made


@dataclass(frozen=True)
class Answer:
    status: int
    headers: Any
    body: bytes


def ask(server: BenchServer, path: str, host: str = "", method: str = "GET") -> Answer:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
    try:
        name = host or f"127.0.0.1:{server.port}"
        connection.request(method, path, headers={"Host": name, "Connection": "close"})
        answer = connection.getresponse()
        return Answer(answer.status, answer.headers, answer.read())
    finally:
        connection.close()


def test_only_with_the_token_and_the_name_of_this_machine(server: BenchServer) -> None:
    token = server.token
    good = ask(server, f"/{token}/")
    assert good.status == 200
    assert "frame-ancestors 'none'" in good.headers["Content-Security-Policy"]
    assert ask(server, f"/{token}/", host=f"localhost:{server.port}").status == 200
    bad = ["/", "/x/", f"/{token}", f"/{token[:-1]}/", f"/{token}/../", f"/{token}/etc/passwd",
           f"/{token}/?x", f"/{token}//"]  # fmt: skip
    assert {ask(server, path).status for path in bad} == {404}
    assert ask(server, f"/{token}/", host="elsewhere.example").status == 404
    assert ask(server, f"/{token}/", host=f"elsewhere.example:{server.port}").status == 404
    assert token not in ask(server, "/").body.decode()


def test_nobody_else_may_write(server: BenchServer) -> None:
    assert ask(server, f"/{server.token}/", method="POST").status == 501


def data_of(server: BenchServer) -> Any:
    return json.loads(ask(server, f"/{server.token}/set.json").body)


def until(holds: Any) -> bool:
    """Whether something comes to hold; the limit is for a machine with much else to do."""
    for _ in range(400):
        if holds():
            return True
        time.sleep(0.05)
    return False


def test_it_follows_a_folder(server: BenchServer, folder: Path) -> None:
    before = data_of(server)
    assert [each["name"] for each in before["luts"]] == ["a.cube"]
    write_cube(Lut3D(1 - lattice(3)), folder / "b.cube")
    assert until(lambda: len(data_of(server)["luts"]) == 2)
    after = data_of(server)
    assert after["luts"][0] == before["luts"][0]
    (folder / "a.cube").unlink()
    assert until(lambda: [e["name"] for e in data_of(server)["luts"]] == ["b.cube"])


def test_what_has_not_changed_is_kept(folder: Path) -> None:
    with BenchServer(Order(folder, KnownEnds(KNOWN.curve("ACEScct")))) as server:
        first = server.follower.packer.kept
        kept = dict(first)
        write_cube(Lut3D(1 - lattice(3)), folder / "b.cube")
        assert server.follower.look()
        now = server.follower.packer.kept
        assert all(now[key] is value for key, value in kept.items())
        assert len(now) == 2
        assert not server.follower.look()


def test_a_fault_while_a_recipe_is_edited_keeps_the_last_set(tmp_path: Path) -> None:
    recipe = tmp_path / "day.toml"
    recipe.write_text(RECIPE.format(exposure=0.0))
    with BenchServer(Order(recipe)) as server:
        follower = server.follower
        before = follower.data["luts"][0]
        recipe.write_text(RECIPE.format(exposure='"much"'))
        assert follower.look()
        assert "exposure" in follower.fault
        assert follower.data["luts"][0] == before
        recipe.write_text(RECIPE.format(exposure=1.0))
        assert follower.look()
        assert follower.fault == ""
        assert follower.data["luts"][0]["exposure"] == 1.0


def test_a_port_that_is_taken_gets_one_line(server: BenchServer, folder: Path) -> None:
    with pytest.raises(LutbenchError, match="cannot serve"):
        BenchServer(Order(folder, KnownEnds(KNOWN.curve("ACEScct"))), server.port)


@pytest.mark.slow
@pytest.mark.browser
def test_the_view_follows_an_edited_recipe(chromium: Any, tmp_path: Path) -> None:
    from bench_browser import Opened

    recipe = tmp_path / "day.toml"
    recipe.write_text(RECIPE.format(exposure=0.0))
    with BenchServer(Order(recipe)) as server:
        threading.Thread(target=server.run, daemon=True).start()
        page = Opened(chromium, server.address)
        page.set(scopes=[], stops=0.5)
        before = page.pixels()
        # To follow an edit takes no longer than the look at the files, the making of the set
        # and the opening of the page anew; six times that, for what else a machine does.
        begin = time.perf_counter()
        Follower(Order(recipe))
        page.view.reload()
        page.wait_for_picture()
        anew = time.perf_counter() - begin
        begin = time.perf_counter()
        recipe.write_text(RECIPE.format(exposure=1.0))
        page.wait("lutbench.bench.shelves[0].entry.exposure === 1")
        assert time.perf_counter() - begin < 6 * (CHECK_SECONDS + anew)
        page.set()
        assert page.view.evaluate("lutbench.bench.state.stops") == 0.5
        assert page.pixels().mean() > before.mean() + 5
        recipe.write_text("not a recipe")
        page.wait("lutbench.bench.message.includes('day.toml')")
        recipe.write_text(RECIPE.format(exposure=0.0))
        page.wait("lutbench.bench.message === ''")
        assert {each.split(server.token)[0] for each in page.asked} <= {
            server.address.split(server.token)[0],
            "data:,",
        }
        assert page.said == []
        page.view.close()
